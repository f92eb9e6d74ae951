package ledger_test

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"proofhouse/internal/ledger"
)

// acted is a scene in which one order has every kind of fact, anchored by a notary.
func acted(t *testing.T) (*scene, *ledger.Notary, ledger.Delivery) {
	s := newScene(t)
	ms := s.yardProp.Milestones
	abandoned := s.open(s.yard, ms[0].ID)
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.Abandon(s.ctx(), abandoned.ID); return err })
	d := s.deliver(s.yard, ms[0].ID)
	s.as(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.CreateSpecRevision(s.ctx(), spec(s.yardProp.ID, "second"))
		return err
	})
	s.inspect(unable())
	s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.Reinspect(s.ctx(), d.ID, "once more"); return err })
	job := s.inspect(failing())
	s.as(s.studio, func(tx *ledger.Tx) error {
		if _, err := tx.GrantConcession(s.ctx(), ledger.NewConcession{Inspection: job.Inspection.ID, Ord: 2, Reason: "never seen"}); err != nil {
			return err
		}
		_, err := tx.AddNote(s.ctx(), ledger.NewNote{Delivery: d.ID, Text: "the hinge is fine"})
		return err
	})
	s.as(s.yard, func(tx *ledger.Tx) error {
		heads, err := tx.SpecRevisions(s.ctx(), s.yardProp.ID)
		if err == nil {
			_, err = tx.AcknowledgeSpec(s.ctx(), heads[0].ID)
		}
		return err
	})
	_, err := s.signOff(s.studio, d.ID, ledger.AcceptAsIs, "as it is")
	require.NoError(t, err)
	s.furtherActs(s.yard, s.yardProp)
	s.aftercare(s.yard)
	s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.CancelMilestone(s.ctx(), ms[2].ID, "cut", nil); return err })
	n := s.notary(t)
	_, err = n.AnchorOnce(s.ctx())
	require.NoError(t, err)
	return s, n, d
}

func TestVerifyFindsNothingWrongWithHonestRecord(t *testing.T) {
	s, n, _ := acted(t)
	for _, log := range []uuid.UUID{s.yardOrder.ID, s.lampOrder.ID, s.studio.Party} {
		r := s.verify(log, n.Verifier())
		require.Empty(t, r.Problems)
		require.Positive(t, r.Facts)
		require.Equal(t, r.Facts, r.Signed)
		require.Zero(t, s.verify(log).Signed, "without a trusted key nothing counts as signed")
	}
	kinds := map[string]bool{}
	s.as(s.yard, func(tx *ledger.Tx) error {
		heads, err := tx.Heads(s.ctx())
		require.NoError(t, err)
		require.Len(t, heads, 2)
		for _, h := range heads {
			facts, err := tx.Facts(s.ctx(), h.Log, -1, 200)
			require.NoError(t, err)
			for _, f := range facts {
				kinds[f.Kind] = true
				require.NotContains(t, string(f.Body), "Lead of", "no name stands in a leaf")
			}
		}
		r, err := tx.Verify(s.ctx(), s.yardOrder.ID, n.Verifier())
		require.NoError(t, err)
		require.Empty(t, r.Problems, "the vendor can verify too")
		return nil
	})
	require.Len(t, kinds, ledger.FactKinds()-5, "every kind of a work order's log; five are of the studio's own")
}

// TestTamperedRecordIsFound changes one thing at a time behind the service's back, as a superuser with triggers off.
func TestTamperedRecordIsFound(t *testing.T) {
	s, n, d := acted(t)
	order := s.yardOrder.ID
	stranger := uuid.New()
	for _, row := range []struct {
		name, do, undo, says string
		args                 []any
	}{
		{"a price", `UPDATE ph.prop SET price_minor = price_minor + 1 WHERE work_order_id = $1`, `UPDATE ph.prop SET price_minor = price_minor - 1 WHERE work_order_id = $1`, "prop.ordered: the rows say", []any{order}},
		{"a share", `UPDATE ph.milestone SET amount_minor = amount_minor + 1 WHERE work_order_id = $1 AND position = 1`, `UPDATE ph.milestone SET amount_minor = amount_minor - 1 WHERE work_order_id = $1 AND position = 1`, "prop.ordered", []any{order}},
		{"an amount released", `UPDATE ph.payable SET amount_minor = amount_minor + 100 WHERE work_order_id = $1`, `UPDATE ph.payable SET amount_minor = amount_minor - 100 WHERE work_order_id = $1`, "milestone.payable: the rows say", []any{order}},
		{"the terms", `UPDATE ph.work_order SET terms = terms || '!' WHERE id = $1`, `UPDATE ph.work_order SET terms = rtrim(terms, '!') WHERE id = $1`, "work_order.placed", []any{order}},
		{"a verdict", `UPDATE ph.inspection SET verdict = 'pass', issues = 0 WHERE work_order_id = $1 AND current AND delivery_id = $2`, `UPDATE ph.inspection SET verdict = 'fail', issues = 2 WHERE work_order_id = $1 AND current AND delivery_id = $2`, "inspection.recorded: the rows say", []any{order, d.ID}},
		{"a finding", `UPDATE ph.finding SET measured = measured + 1 WHERE vendor_id = $1 AND ord = 0`, `UPDATE ph.finding SET measured = measured - 1 WHERE vendor_id = $1 AND ord = 0`, "the findings' digest is", []any{s.yard.Party}},
		{"a finding away", `UPDATE ph.finding SET ord = 99 WHERE vendor_id = $1 AND ord = 3`, `UPDATE ph.finding SET ord = 3 WHERE vendor_id = $1 AND ord = 99`, "the findings' digest is", []any{s.yard.Party}},
		{"a file's digest", `UPDATE ph.file SET sha256 = sha256('other'::bytea) WHERE delivery_id = $1 AND ord = 0`, `UPDATE ph.file SET sha256 = sha256('mesh'::bytea) WHERE delivery_id = $1 AND ord = 0`, "delivery.sealed: the rows say", []any{d.ID}},
		{"a spec's text", `UPDATE ph.spec_revision SET document = document || 'x' WHERE work_order_id = $1 AND number = 1`, `UPDATE ph.spec_revision SET document = substr(document, 1, length(document) - 1) WHERE work_order_id = $1 AND number = 1`, "the document of spec revision", []any{order}},
		{"a decision", `UPDATE ph.sign_off SET reason = 'other' WHERE work_order_id = $1`, `UPDATE ph.sign_off SET reason = 'as it is' WHERE work_order_id = $1`, "milestone.signed_off: the rows say", []any{order}},
		{"a note", `UPDATE ph.note SET text = 'the hinge is broken' WHERE work_order_id = $1 AND text = 'the hinge is fine'`, `UPDATE ph.note SET text = 'the hinge is fine' WHERE work_order_id = $1 AND text = 'the hinge is broken'`, "the text of note", []any{order}},
		{"who acted", `UPDATE ph.fact_person SET name = 'Somebody Else' WHERE log_id = $1 AND idx = 0`, `UPDATE ph.fact_person SET name = 'Lead of Harbour Studio' WHERE log_id = $1 AND idx = 0`, `the name "Somebody Else" is not the one`, []any{order}},
		{"a state", `UPDATE ph.milestone SET state = 'accepted' WHERE work_order_id = $1 AND position = 2`, `UPDATE ph.milestone SET state = 'review' WHERE work_order_id = $1 AND position = 2`, "is accepted, the leaves lead to", []any{order}},
		{"a leaf", `UPDATE ph.fact SET body = convert_to(replace(convert_from(body, 'UTF8'), '"EUR"', '"USD"'), 'UTF8') WHERE log_id = $1 AND idx = 0`, `UPDATE ph.fact SET body = convert_to(replace(convert_from(body, 'UTF8'), '"USD"', '"EUR"'), 'UTF8') WHERE log_id = $1 AND idx = 0`, "the leaves hash to root", []any{order}},
		{"a leaf away", `UPDATE ph.fact SET idx = 500 WHERE log_id = $1 AND idx = 3`, `UPDATE ph.fact SET idx = 3 WHERE log_id = $1 AND idx = 500`, "leaf 3 is missing", []any{order}},
		{"the last leaf away", `UPDATE ph.fact SET idx = 500 WHERE log_id = $1 AND idx = (SELECT size - 1 FROM ph.log WHERE id = $1)`, `UPDATE ph.fact SET idx = (SELECT size - 1 FROM ph.log WHERE id = $1) WHERE log_id = $1 AND idx = 500`, "leaves are there, the head says", []any{order}},
		{"a fact's columns", `UPDATE ph.fact SET recorded_at = recorded_at - interval '1 day' WHERE log_id = $1 AND idx = 0`, `UPDATE ph.fact SET recorded_at = recorded_at + interval '1 day' WHERE log_id = $1 AND idx = 0`, "the fact's columns say", []any{order}},
		{"a stored hash", `UPDATE ph.log_hash SET hash = sha256(hash) WHERE log_id = $1 AND idx = 2`, "", "stored hash 2", []any{order}},
		{"the head's own hashes", `UPDATE ph.log SET frontier = sha256(frontier) WHERE id = $1`, "", "the head's own hashes", []any{order}},
		{"a row without a leaf", `INSERT INTO ph.cancellation (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id, reason, by_member) SELECT studio_id, vendor_id, work_order_id, prop_id, id, $2, 'x', id FROM ph.milestone WHERE work_order_id = $1 AND position = 2`, `DELETE FROM ph.cancellation WHERE work_order_id = $1 AND id = $2`, "has 0 leaves", []any{order, stranger}},
		{"a row gone", `UPDATE ph.concession SET id = $2 WHERE work_order_id = $1 AND ord = 2`, "", "is gone", []any{order, stranger}},
	} {
		t.Run(row.name, func(t *testing.T) {
			before := len(s.verify(order, n.Verifier()).Problems)
			s.tamper(row.do, row.args...)
			r := s.verify(order, n.Verifier())
			require.Greater(t, len(r.Problems), before)
			require.True(t, said(r, row.says), "%q is not among %v", row.says, r.Problems)
			if row.undo != "" {
				s.tamper(row.undo, row.args...)
				require.Len(t, s.verify(order, n.Verifier()).Problems, before, "put right again")
			}
		})
	}
}

func said(r ledger.Report, words string) bool {
	for _, p := range r.Problems {
		if strings.Contains(p.What, words) {
			return true
		}
	}
	return false
}

// TestRewrittenLogIsFoundByWitnesses: who rewrites leaves, hashes and head all together is still found, by the signed
// checkpoint and by any receipt held outside.
func TestRewrittenLogIsFoundByWitnesses(t *testing.T) {
	s, n, d := acted(t)
	var receipt ledger.Receipt
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		receipt, err = tx.Receipt(s.ctx(), ledger.FactDeliverySealed, d.ID)
		return err
	})
	require.NoError(t, ledger.CheckReceipt(receipt))
	doc := s.bundle(s.yardOrder.ID)
	r, err := ledger.VerifyBundle(doc, []string{n.Verifier()}, receipt)
	require.NoError(t, err)
	require.Empty(t, r.Problems)

	var b map[string]any
	require.NoError(t, json.Unmarshal(doc, &b))
	leaves := b["leaves"].([]any)
	l := leaves[receipt.Index].(map[string]any)
	l["body"] = strings.Replace(l["body"].(string), `"number":2`, `"number":7`, 1)
	hashes := memory{}
	for i, l := range leaves {
		hs, err := tlog.StoredHashes(int64(i), []byte(l.(map[string]any)["body"].(string)), &hashes)
		require.NoError(t, err)
		hashes.h = append(hashes.h, hs...)
	}
	root, err := tlog.TreeHash(int64(len(leaves)), &hashes)
	require.NoError(t, err)
	b["root"] = hex.EncodeToString(root[:])
	forged, err := json.Marshal(b)
	require.NoError(t, err)
	r, err = ledger.VerifyBundle(forged, []string{n.Verifier()})
	require.NoError(t, err)
	require.True(t, said(r, "the anchor says"), "%v", r.Problems)
	require.Zero(t, r.Signed)

	delete(b, "anchor")
	delete(b, "checkpoint")
	forged, err = json.Marshal(b)
	require.NoError(t, err)
	r, err = ledger.VerifyBundle(forged, []string{n.Verifier()})
	require.NoError(t, err)
	require.Empty(t, r.Problems, "a forgery from the first second holds together by itself")
	r, err = ledger.VerifyBundle(forged, []string{n.Verifier()}, receipt)
	require.NoError(t, err)
	require.True(t, said(r, "does not extend the receipt"), "but not against a receipt held outside: %v", r.Problems)
}

type memory struct{ h []tlog.Hash }

func (m *memory) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, x := range indexes {
		out[i] = m.h[x]
	}
	return out, nil
}

func (s *scene) bundle(log uuid.UUID) (doc []byte) {
	s.t.Helper()
	s.as(s.studio, func(tx *ledger.Tx) (err error) { doc, err = tx.Bundle(s.ctx(), log); return err })
	return doc
}

func TestSignatureOfAnotherKeyIsNotTrusted(t *testing.T) {
	s, n, _ := acted(t)
	doc := s.bundle(s.yardOrder.ID)
	secret, other, err := note.GenerateKey(rand.Reader, "proofhouse/house")
	require.NoError(t, err)
	r, err := ledger.VerifyBundle(doc, []string{other})
	require.NoError(t, err)
	require.Zero(t, r.Signed)

	// The same words, signed by the other key under the same name.
	var b map[string]any
	require.NoError(t, json.Unmarshal(doc, &b))
	checkpoint := b["checkpoint"].(string)
	signer, err := note.NewSigner(secret)
	require.NoError(t, err)
	signed, err := note.Sign(&note.Note{Text: noteText(checkpoint)}, signer)
	require.NoError(t, err)
	b["checkpoint"] = string(signed)
	require.Zero(t, s.reverify(b, n.Verifier()).Signed)

	// The good key's signature under other words.
	b["checkpoint"] = strings.Replace(checkpoint, "proofhouse/house\n5\n", "proofhouse/house\n6\n", 1)
	require.NotEqual(t, checkpoint, b["checkpoint"], "the house log holds the key and four heads")
	r = s.reverify(b, n.Verifier())
	require.Zero(t, r.Signed)
	require.True(t, said(r, "checkpoint:"), "%v", r.Problems)

	// Honest again.
	b["checkpoint"] = checkpoint
	require.Positive(t, s.reverify(b, n.Verifier()).Signed)
}

func (s *scene) reverify(b map[string]any, verifier string) ledger.Report {
	s.t.Helper()
	doc, err := json.Marshal(b)
	require.NoError(s.t, err)
	r, err := ledger.VerifyBundle(doc, []string{verifier})
	require.NoError(s.t, err)
	return r
}

func TestReceiptsAndConsistency(t *testing.T) {
	s := newScene(t)
	n := s.notary(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	receipt := func() (r ledger.Receipt) {
		s.as(s.yard, func(tx *ledger.Tx) (err error) {
			r, err = tx.Receipt(s.ctx(), ledger.FactDeliverySealed, d.ID)
			return err
		})
		return r
	}
	first := receipt()
	require.NoError(t, ledger.CheckReceipt(first))
	require.Nil(t, first.Anchor)
	anchored, err := n.AnchorOnce(s.ctx())
	require.NoError(t, err)
	require.Equal(t, 3, anchored, "two orders and the studio's own log")
	anchored, err = n.AnchorOnce(s.ctx())
	require.NoError(t, err)
	require.Zero(t, anchored, "nothing changed since")
	require.NotNil(t, receipt().Anchor)
	bad := first
	bad.Index--
	require.Error(t, ledger.CheckReceipt(bad))
	bad = first
	bad.Body = strings.Replace(bad.Body, "crate", "crane", 1)
	require.Error(t, ledger.CheckReceipt(bad))

	s.inspect(passing())
	later := receipt()
	require.Greater(t, later.Size, first.Size)
	s.as(s.yard, func(tx *ledger.Tx) error {
		proof, err := tx.Consistency(s.ctx(), s.yardOrder.ID, first.Size, later.Size)
		require.NoError(t, err)
		var tree tlog.TreeProof
		for _, h := range proof {
			b, err := hex.DecodeString(h)
			require.NoError(t, err)
			tree = append(tree, tlog.Hash(b))
		}
		require.NoError(t, tlog.CheckTree(tree, later.Size, hash(t, later.Root), first.Size, hash(t, first.Root)))
		require.Error(t, tlog.CheckTree(tree, later.Size, hash(t, later.Root), first.Size, hash(t, later.Root)))
		_, err = tx.Consistency(s.ctx(), s.yardOrder.ID, 1, later.Size+1)
		require.ErrorIs(t, err, ledger.ErrInvalid)
		return nil
	})
}

func hash(t *testing.T, s string) tlog.Hash {
	b, err := hex.DecodeString(s)
	require.NoError(t, err)
	return tlog.Hash(b)
}

// TestErasedIsNotMissing: who was erased by a fact leaves leaves that verify; a name that is only gone is a problem.
func TestErasedIsNotMissing(t *testing.T) {
	s := newScene(t)
	order, _, _ := s.aftercare(s.yard)
	r := s.verify(order.ID)
	require.Empty(t, r.Problems)
	require.Positive(t, r.Erased)
	doc := s.bundle(order.ID)
	off, err := ledger.VerifyBundle(doc, nil)
	require.NoError(t, err)
	require.Empty(t, off.Problems)
	require.Equal(t, r.Erased, off.Erased)
	require.NotContains(t, string(doc), "Leaver")
	for _, table := range []string{"delivery", "fact_person", "member", "file"} { // nowhere
		var n int
		require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM ph.`+table+` x WHERE to_jsonb(x)::text LIKE '%Leaver%'`).Scan(&n))
		require.Zero(t, n, table)
	}
	_, err = s.login.Password(s.ctx(), "leaver-"+s.yard.Party.String()[30:]+"@x.example", testPassword)
	require.ErrorIs(t, err, ledger.ErrCredentials)
	s.tamper(`UPDATE ph.fact_person SET salt = NULL, name = NULL WHERE log_id = $1 AND name = $2`, order.ID, s.yard.Name)
	require.True(t, said(s.verify(order.ID), "no leaf says that they were erased"))
}

// TestKeyIsRotated: who trusts the first key follows its statements to the third; who trusts a stranger's follows nothing.
func TestKeyIsRotated(t *testing.T) {
	s := newScene(t)
	pool, path := s.db.Pool(ledger.RoleNotary), filepath.Join(t.TempDir(), "notary.key")
	_, _, err := ledger.RotateKey(s.ctx(), pool, path)
	require.Error(t, err, "there is no key to rotate")
	n, err := ledger.NewNotary(pool, path)
	require.NoError(t, err)
	first := n.Verifier()
	_, err = n.AnchorOnce(s.ctx())
	require.NoError(t, err)
	for range 2 {
		old, now, err := ledger.RotateKey(s.ctx(), pool, path)
		require.NoError(t, err)
		require.NotEqual(t, old, now)
		n, err = ledger.NewNotary(pool, path)
		require.NoError(t, err)
		require.Equal(t, now, n.Verifier())
	}
	s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	_, err = n.AnchorOnce(s.ctx())
	require.NoError(t, err)
	doc := s.bundle(s.yardOrder.ID)
	for _, v := range []string{first, n.Verifier()} {
		r, err := ledger.VerifyBundle(doc, []string{v})
		require.NoError(t, err)
		require.Empty(t, r.Problems)
		require.Equal(t, r.Facts, r.Signed)
	}
	_, stranger, err := note.GenerateKey(rand.Reader, "proofhouse/house")
	require.NoError(t, err)
	r, err := ledger.VerifyBundle(doc, []string{stranger})
	require.NoError(t, err)
	require.Zero(t, r.Signed)
	var b map[string]any
	require.NoError(t, json.Unmarshal(doc, &b))
	require.Len(t, b["keys"], 2)
	b["keys"] = b["keys"].([]any)[1:] // a link is missing
	require.Zero(t, s.reverify(b, first).Signed)
	objects, err := ledger.BundleObjects(doc)
	require.NoError(t, err)
	require.Len(t, objects, 2)
	require.True(t, strings.HasPrefix(objects[0].Key, "in/"))
}

func TestNotaryKeyFile(t *testing.T) {
	s := newScene(t)
	pool := s.db.Pool(ledger.RoleNotary)
	path := filepath.Join(t.TempDir(), "notary.key")
	a, err := ledger.NewNotary(pool, path)
	require.NoError(t, err)
	b, err := ledger.NewNotary(pool, path)
	require.NoError(t, err)
	require.Equal(t, a.Verifier(), b.Verifier(), "made once")
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	require.NoError(t, os.Chmod(path, 0o644))
	_, err = ledger.NewNotary(pool, path)
	require.ErrorContains(t, err, "make it 0600")
	require.NoError(t, os.Chmod(path, 0o600))
	require.NoError(t, os.WriteFile(path, []byte("no key\n"), 0o600))
	_, err = ledger.NewNotary(pool, path)
	require.ErrorContains(t, err, "not a signing key")
}
