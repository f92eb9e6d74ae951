package ledger

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"proofhouse/internal/canon"
)

// Report is what a verification found.
type Report struct {
	Log      uuid.UUID `json:"log"`
	Facts    int64     `json:"facts"`
	Signed   int64     `json:"signed"` // facts covered by a checkpoint with a good signature
	Erased   int64     `json:"erased"` // facts whose person was erased, by a fact that says so: the leaf stands, the name cannot be checked
	Problems []Problem `json:"problems"`
}

// OK says that nothing was found wrong.
func (r Report) OK() bool { return len(r.Problems) == 0 }

// Problem is one thing that does not agree.
type Problem struct {
	Index int64  `json:"index"` // of the fact; -1 where it is about the log as a whole
	What  string `json:"what"`
}

func (r *Report) problem(index int64, format string, args ...any) {
	r.Problems = append(r.Problems, Problem{index, fmt.Sprintf(format, args...)})
}

// VerifyBundle checks an exported bundle with no database and no network: every leaf against the root, the root against
// the signed checkpoint, and what leaves commit to (findings, specs, remarks, names, manifests, amounts, the order of
// states). Verifiers are the notary's keys that the caller trusts ("name+hash+key"); without any, nothing counts as
// signed. since are receipts held from before, which the bundle must extend. An error means that it is no bundle.
func VerifyBundle(doc []byte, verifiers []string, since ...Receipt) (Report, error) {
	var b bundle
	dec := json.NewDecoder(bytes.NewReader(doc))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&b); err != nil {
		return Report{}, fmt.Errorf("bundle: %w", err)
	}
	if b.Format != bundleFormat {
		return Report{}, fmt.Errorf("bundle: format %q is not %q", b.Format, bundleFormat)
	}
	v, err := b.verify(verifiers, since)
	return v.report, err
}

// verification is a bundle being checked, with what has been learnt of it.
type verification struct {
	*bundle
	report    Report
	leaves    []leaf
	hashes    hashMap
	states    map[uuid.UUID]MilestoneState
	erased    map[uuid.UUID]bool        // members, by the leaves that say so
	standing  map[uuid.UUID]*standingOf // of milestones
	propOf    map[uuid.UUID]uuid.UUID   // by milestone
	began     map[uuid.UUID]bool        // props on which work began
	inForce   map[uuid.UUID]uuid.UUID   // a prop's spec, a delivery's inspection
	delivered map[uuid.UUID]DeliveryState
	things    map[thing]string // states of what has a smaller machine
}

func (b *bundle) verify(verifiers []string, since []Receipt) (*verification, error) {
	v := &verification{bundle: b, hashes: hashMap{}, erased: map[uuid.UUID]bool{}, standing: map[uuid.UUID]*standingOf{}, propOf: map[uuid.UUID]uuid.UUID{},
		began: map[uuid.UUID]bool{}, inForce: map[uuid.UUID]uuid.UUID{}, delivered: map[uuid.UUID]DeliveryState{}, report: Report{Log: b.Log, Facts: int64(len(b.Leaves)), Problems: []Problem{}}}
	known, err := following(verifiers, b.Keys)
	if err != nil {
		return v, err
	}
	if !v.tree() {
		return v, nil // with leaves missing nothing else can be said
	}
	v.parse()
	v.signature(known)
	v.contents()
	v.replay()
	for _, r := range since {
		v.extends(r)
	}
	return v, nil
}

func verifierList(keys []string) (note.Verifiers, error) {
	var list []note.Verifier
	for _, k := range keys {
		verifier, err := note.NewVerifier(k)
		if err != nil {
			return nil, fmt.Errorf("verifier key %q: %w", k, err)
		}
		list = append(list, verifier)
	}
	return note.VerifierList(list...), nil
}

// tree hashes the leaves and compares the root.
func (v *verification) tree() bool {
	var n int64
	for i, l := range v.Leaves {
		if l.Index != int64(i) {
			v.report.problem(int64(i), "leaf %d is missing", i)
			return false
		}
		hashes, err := tlog.StoredHashes(n, []byte(l.Body), v.hashes)
		if err != nil {
			v.report.problem(n, "cannot hash the leaf: %v", err)
			return false
		}
		first := tlog.StoredHashCount(n)
		for j, h := range hashes {
			v.hashes[first+int64(j)] = h
		}
		n++
	}
	if n != v.Size {
		v.report.problem(-1, "%d leaves are there, the head says %d", n, v.Size)
	}
	if root := v.rootAt(n); root != v.Root {
		v.report.problem(-1, "the leaves hash to root %s, the head says %s", root, v.Root)
	}
	return true
}

func (v *verification) rootAt(size int64) string {
	root, err := tlog.TreeHash(size, v.hashes)
	if err != nil {
		return err.Error()
	}
	return hex.EncodeToString(root[:])
}

func (v *verification) parse() {
	v.leaves = make([]leaf, len(v.Leaves))
	for i, raw := range v.Leaves {
		idx, l := int64(i), &v.leaves[i]
		if err := json.Unmarshal([]byte(raw.Body), l); err != nil {
			v.report.problem(idx, "the leaf is not JSON: %v", err)
			continue
		}
		if c, err := canon.Transform([]byte(raw.Body)); err != nil || string(c) != raw.Body {
			v.report.problem(idx, "the leaf is not in canonical form")
		}
		if l.Log != v.Log {
			v.report.problem(idx, "the leaf is of log %s", l.Log)
		}
		if l.Kind == FactPersonErased {
			var d leafData
			if json.Unmarshal(l.Data, &d) == nil {
				v.erased[d.Member] = true
			}
		}
	}
	for i, raw := range v.Leaves {
		idx, l := int64(i), &v.leaves[i]
		switch {
		case l.NameCommit == "":
		case len(raw.Salt) == 0 && v.erased[deref(l.Member)]:
			v.report.Erased++
		case len(raw.Salt) == 0:
			v.report.problem(idx, "who acted is missing, and no leaf says that they were erased")
		case commit(raw.Salt, raw.Name) != l.NameCommit:
			v.report.problem(idx, "the name %q is not the one that was recorded", raw.Name)
		}
	}
}

// signature follows root → anchor → house log → signed checkpoint.
func (v *verification) signature(known note.Verifiers) {
	if v.Anchor == nil {
		return
	}
	if v.Anchor.Size < 1 || v.Anchor.Size > int64(len(v.Leaves)) {
		v.report.problem(-1, "the anchor is of size %d", v.Anchor.Size)
		return
	}
	if root := v.rootAt(v.Anchor.Size); root != v.Anchor.Root {
		v.report.problem(-1, "the first %d leaves hash to root %s, the anchor says %s", v.Anchor.Size, root, v.Anchor.Root)
		return
	}
	if err := checkAnchor(v.Log, *v.Anchor, v.Checkpoint, known); err != nil {
		if unverified := (*note.UnverifiedNoteError)(nil); errors.As(err, &unverified) && len(unverified.Note.UnverifiedSigs) > 0 && !trusts(known, unverified) {
			return // signed by a key that the caller did not give: not wrong, and not counted
		}
		v.report.problem(-1, "checkpoint: %v", err)
		return
	}
	v.report.Signed = v.Anchor.Size
}

// trusts says whether one of the note's signatures claims to be by a key that the caller gave.
func trusts(known note.Verifiers, e *note.UnverifiedNoteError) bool {
	for _, s := range e.Note.UnverifiedSigs {
		if _, err := known.Verifier(s.Name, s.Hash); err == nil {
			return true
		}
	}
	return false
}

// checkAnchor checks the checkpoint's signature and that the blinded head is in its tree.
func checkAnchor(log uuid.UUID, a Anchor, checkpoint string, known note.Verifiers) error {
	n, err := note.Open([]byte(checkpoint), known)
	if err != nil {
		return err
	}
	size, root, err := parseCheckpoint(n.Text)
	if err != nil {
		return err
	}
	proof, err := unhexes(a.HouseProof)
	if err != nil {
		return err
	}
	blind, errBlind := hex.DecodeString(a.Blind)
	head, errRoot := hex.DecodeString(a.Root)
	if errBlind != nil || errRoot != nil {
		return errors.New("blind or root is not hex")
	}
	if err := tlog.CheckRecord(tlog.RecordProof(proof), size, root, a.HouseIndex, tlog.RecordHash(houseLeaf(blind, log, a.Size, head))); err != nil {
		return fmt.Errorf("the head is not in the house log: %w", err)
	}
	return nil
}

// extends checks that a receipt held from before is good in itself and that this log still holds what it proves.
func (v *verification) extends(r Receipt) {
	if r.Log != v.Log {
		v.report.problem(-1, "the receipt is of log %s", r.Log)
		return
	}
	if err := CheckReceipt(r); err != nil {
		v.report.problem(r.Index, "the receipt itself is wrong: %v", err)
		return
	}
	if r.Size > int64(len(v.Leaves)) {
		v.report.problem(-1, "the receipt knows %d leaves, %d are here", r.Size, len(v.Leaves))
		return
	}
	if root := v.rootAt(r.Size); root != r.Root {
		v.report.problem(r.Index, "the log does not extend the receipt: its first %d leaves hash to %s, the receipt says %s", r.Size, root, r.Root)
	}
	if v.Leaves[r.Index].Body != r.Body {
		v.report.problem(r.Index, "the leaf is not the one of the receipt")
	}
}

// CheckReceipt checks a receipt's own proof: leaf bytes → leaf hash → root. It says nothing about signatures.
func CheckReceipt(r Receipt) error {
	if r.Format != receiptFormat {
		return fmt.Errorf("format %q is not %q", r.Format, receiptFormat)
	}
	leafHash := tlog.RecordHash([]byte(r.Body))
	if hex.EncodeToString(leafHash[:]) != r.LeafHash {
		return errors.New("the leaf hash is not the hash of the body")
	}
	root, err := unhex(r.Root)
	if err != nil {
		return err
	}
	proof, err := unhexes(r.Proof)
	if err != nil {
		return err
	}
	return tlog.CheckRecord(tlog.RecordProof(proof), r.Size, root, r.Index, leafHash)
}

// contents compares what leaves commit to with what the bundle carries beside them.
func (v *verification) contents() {
	findings := map[uuid.UUID][]findingLine{}
	for _, f := range v.Findings {
		findings[f.Inspection] = f.Findings
	}
	specs := map[uuid.UUID][]byte{}
	for _, s := range v.Specs {
		specs[s.ID] = s.Document
	}
	notes := map[uuid.UUID]bundleNote{}
	for _, n := range append(v.Notes, v.Messages...) {
		notes[n.ID] = n
	}
	for i, l := range v.leaves {
		idx := int64(i)
		var d leafData
		if err := json.Unmarshal(l.Data, &d); err != nil {
			v.report.problem(idx, "%s cannot be read: %v", l.Kind, err)
			continue
		}
		switch l.Kind {
		case FactInspectionRecorded:
			v.checkFindings(idx, d, findings[l.Subject])
		case FactSpecRevised:
			if sum := sha256.Sum256(specs[l.Subject]); hex.EncodeToString(sum[:]) != d.DocumentSHA256 {
				v.report.problem(idx, "the document of spec revision %s is not the one that was recorded", l.Subject)
			}
		case FactNoteWritten, FactQuestion:
			if n := notes[l.Subject]; commit(n.Salt, n.Text) != d.TextCommit {
				v.report.problem(idx, "the text of note %s is not the one that was recorded", l.Subject)
			}
		case FactWorkOrderPlaced:
			if sum := sha256.Sum256([]byte(deref(v.Terms))); hex.EncodeToString(sum[:]) != d.TermsSHA256 {
				v.report.problem(idx, "the terms are not the ones that were recorded")
			}
		case FactDeliverySealed:
			v.checkManifest(idx, d)
		}
	}
}

// leafData is what verification reads of the kinds' data.
type leafData struct {
	Milestone      uuid.UUID       `json:"milestone"`
	Milestones     []leafMilestone `json:"milestones"`
	Verdict        Verdict         `json:"verdict"`
	FindingsSHA256 string          `json:"findings_sha256"`
	DocumentSHA256 string          `json:"document_sha256"`
	TermsSHA256    string          `json:"terms_sha256"`
	TextCommit     string          `json:"text_commit"`
	ManifestSHA256 string          `json:"manifest_sha256"`
	Decision       Decision        `json:"decision"`
	AmountMinor    int64           `json:"amount_minor"`
	DeltaMinor     int64           `json:"delta_minor"`
	FeeMinor       int64           `json:"fee_minor"`
	State          string          `json:"state"` // of a change order that was decided
	Event          Event           `json:"event"` // hold, resume
	Issues         int             `json:"issues"`
	Question       uuid.UUID       `json:"question"`
	Prop           uuid.UUID       `json:"prop"`
	Delivery       uuid.UUID       `json:"delivery"`
	SpecRevision   uuid.UUID       `json:"spec_revision"`
	RoundCause     string          `json:"round_cause"`
	Member         uuid.UUID       `json:"member"`
	Permission     uuid.UUID       `json:"permission"`
	Permitted      int             `json:"permitted"`
	Kind           string          `json:"kind"` // of a payable
	Reminder       *uuid.UUID      `json:"reminder"`
	EffectiveAt    string          `json:"effective_at"`
	PriceMinor     int64           `json:"price_minor"`
	Files          json.RawMessage `json:"files"` // a list in delivery.sealed, a number in delivery.opened
}

type leafMilestone struct {
	ID          uuid.UUID `json:"id"`
	AmountMinor int64     `json:"amount_minor"`
}

type leafFile struct {
	Path   string `json:"path"`
	Role   string `json:"role"`
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
}

func (v *verification) checkFindings(idx int64, d leafData, lines []findingLine) {
	findings := make([]Finding, len(lines))
	for i, l := range lines {
		findings[i] = Finding(l)
	}
	sum, err := findingsDigest(findings)
	if err != nil {
		v.report.problem(idx, "findings: %v", err)
		return
	}
	if got := hex.EncodeToString(sum); got != d.FindingsSHA256 {
		v.report.problem(idx, "the findings' digest is %s, the leaf says %s", got, d.FindingsSHA256)
	}
}

func (v *verification) checkManifest(idx int64, d leafData) {
	var files []leafFile
	if err := json.Unmarshal(d.Files, &files); err != nil {
		v.report.problem(idx, "files: %v", err)
		return
	}
	lines := make([]NewFile, len(files))
	for i, f := range files {
		sum, err := hex.DecodeString(f.SHA256)
		if err != nil {
			v.report.problem(idx, "file %s: %v", f.Path, err)
		}
		lines[i] = NewFile{Path: f.Path, Role: f.Role, SHA256: sum, Size: f.Size}
	}
	digest, err := manifestDigest(lines)
	if err != nil || hex.EncodeToString(digest) != d.ManifestSHA256 {
		v.report.problem(idx, "the files are not those of the manifest %s", d.ManifestSHA256)
	}
}
