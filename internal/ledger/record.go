package ledger

import (
	"context"
	"crypto/sha256"
	"fmt"
	"math"
	"strings"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"proofhouse/internal/canon"
)

// Result is what an inspector found. Verdict, Findings and Objects are as in evidence.json.
type Result struct {
	Engine         string
	EngineDigest   string
	Verdict        Verdict
	Headline       string
	FirstIssue     []byte    // the sentence that the headline names first, as JSON; nil where there is none
	Cause          string    // why not evaluated, where the whole inspection was not
	EvidenceSHA256 []byte    // of evidence.json's canonical bytes; nil where there is none
	Findings       []Finding // Ord is given by position
	Objects        []EvidenceObject
}

const findingsMax = 100_000

// Record stores the result in one transaction: fence, findings, evidence, the milestone's move, the fact, and inTx (may
// be nil; River's JobCompleteTx). ErrLeaseLost: nothing was stored, drop the result. ErrInvalid: the result contradicts
// itself.
func (w *Worker) Record(ctx context.Context, inspection uuid.UUID, fence int64, r Result, inTx func(context.Context, pgx.Tx) error) error {
	return w.record(ctx, inspection, fence, r, false, inTx)
}

func (w *Worker) record(ctx context.Context, id uuid.UUID, fence int64, r Result, lapsedOnly bool, inTx func(context.Context, pgx.Tx) error) error {
	issues, err := checkResult(&r)
	if err != nil {
		return fmt.Errorf("record inspection %s: %w", id, err)
	}
	digest, err := findingsDigest(r.Findings)
	if err != nil {
		return fmt.Errorf("record inspection %s: %w", id, err)
	}
	return w.inTx(ctx, func(tx *Tx) error {
		m, delivery, err := tx.lockForRecord(ctx, id)
		if err != nil {
			return err
		}
		permissions, err := tx.standingFor(ctx, m.studio, m.prop)
		if err != nil {
			return err
		}
		allowed := permitted(permissions, r.Findings)
		if _, err := tx.Exec(ctx, `UPDATE ph.inspection SET current = false WHERE studio_id = $1 AND delivery_id = $2 AND current AND id <> $3`, m.studio, delivery, id); err != nil {
			return fmt.Errorf("inspection before %s: %w", id, err)
		}
		tag, err := tx.Exec(ctx, `UPDATE ph.inspection SET state = 'done', lease_owner = NULL, lease_until = NULL, finished_at = now(), engine = $4, engine_digest = $5,
			verdict = $6, headline = $7, cause = $8, evidence_sha256 = $9, findings_sha256 = $10, findings = $11, issues = $12, permitted = $13, first_issue = $14, current = true
			WHERE id = $1 AND fence = $2 AND state = 'running' AND (NOT $3 OR lease_until < clock_timestamp())`,
			id, fence, lapsedOnly, r.Engine, r.EngineDigest, r.Verdict, r.Headline, r.Cause, r.EvidenceSHA256, digest, len(r.Findings), issues, allowed, r.FirstIssue)
		if err != nil {
			return fmt.Errorf("record inspection %s: %w", id, err)
		}
		if tag.RowsAffected() == 0 {
			return ErrLeaseLost // rolls back the line above too
		}
		if err := tx.insertFindings(ctx, m, id, r.Findings); err != nil {
			return fmt.Errorf("findings of inspection %s: %w", id, err)
		}
		if err := tx.insertEvidence(ctx, m, id, r.Objects); err != nil {
			return fmt.Errorf("evidence of inspection %s: %w", id, err)
		}
		if _, err := tx.Exec(ctx, `SELECT ph.count_checks($1, $2)`, m.studio, id); err != nil {
			return fmt.Errorf("figures of inspection %s: %w", id, err)
		}
		if m.state == MInspecting { // cancelled meanwhile: the record is kept, the milestone stays
			if err := tx.moveByMachine(ctx, m, r.Verdict.eventWith(issues, allowed)); err != nil {
				return err
			}
		}
		tx.fact(FactInspectionRecorded, m.studio, m.workOrder, id)
		if inTx != nil {
			return inTx(ctx, tx.Tx)
		}
		return nil
	})
}

// lockForRecord locks the milestone's row first, as every rule does.
func (tx *Tx) lockForRecord(ctx context.Context, inspection uuid.UUID) (m lockedMilestone, delivery uuid.UUID, err error) {
	err = tx.QueryRow(ctx, `SELECT m.studio_id, m.vendor_id, m.work_order_id, m.prop_id, m.id, m.state, i.delivery_id
		FROM ph.inspection i JOIN ph.milestone m ON m.studio_id = i.studio_id AND m.id = i.milestone_id
		WHERE i.id = $1 FOR UPDATE OF m`, inspection).Scan(&m.studio, &m.vendor, &m.workOrder, &m.prop, &m.id, &m.state, &delivery)
	if err != nil {
		return m, delivery, fmt.Errorf("inspection %s: %w", inspection, mapError(err))
	}
	return m, delivery, nil
}

func (tx *Tx) moveByMachine(ctx context.Context, m lockedMilestone, ev Event) error {
	to, ok := Next(m.state, ev)
	if !ok {
		return fmt.Errorf("%w: a milestone that is %s cannot take %s", ErrState, m.state, ev)
	}
	if to != MReview {
		return tx.move(ctx, m, ev)
	}
	return tx.toReview(ctx, m, ev)
}

// toReview moves a milestone to the art director's desk and says until when the studio has time.
func (tx *Tx) toReview(ctx context.Context, m lockedMilestone, ev Event) error {
	due, err := tx.reviewDue(ctx, m.studio, m.workOrder)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.milestone SET state = 'review', last_event = $3, review_due_at = $4 WHERE studio_id = $1 AND id = $2`, m.studio, m.id, ev, due); err != nil {
		return fmt.Errorf("milestone %s: %w", m.id, err)
	}
	return nil
}

// checkResult numbers the findings, makes their text storable, and refuses a verdict that its findings contradict. It
// returns how many blocking findings failed or were not evaluated.
func checkResult(r *Result) (issues int, err error) {
	if len(r.Findings) > findingsMax {
		return 0, invalid("findings", "are over %d", findingsMax)
	}
	failed, findings := 0, make([]Finding, len(r.Findings))
	for i, f := range r.Findings {
		f.Ord = i
		for _, s := range []*string{&f.Check, &f.Part, &f.Set, &f.Pose, &f.File, &f.FollowsFrom, &f.Unit, &f.LimitKey} {
			*s = storable(*s)
		}
		for _, v := range []*float64{f.Measured, f.Limit} {
			if v != nil && (math.IsNaN(*v) || math.IsInf(*v, 0)) {
				return 0, invalid(fmt.Sprintf("findings[%d]", i), "%s has a number that is not finite", f.Check)
			}
		}
		if f.Blocks && f.Outcome == "fail" {
			failed++
		}
		if f.Blocks && (f.Outcome == "fail" || f.Outcome == "not_evaluated") {
			issues++
		}
		findings[i] = f
	}
	r.Findings, r.Headline, r.Cause = findings, storable(r.Headline), storable(r.Cause)
	switch {
	case r.Verdict == VerdictPass && issues > 0:
		return 0, invalid("verdict", "is pass with %d blocking issues", issues)
	case r.Verdict == VerdictFail && failed == 0:
		return 0, invalid("verdict", "is fail and no blocking finding failed")
	case r.Verdict != VerdictPass && r.Verdict != VerdictFail && r.Verdict != VerdictNotEvaluated:
		return 0, invalid("verdict", "%q is not known", r.Verdict)
	case r.Verdict != VerdictNotEvaluated && len(r.EvidenceSHA256) != sha256.Size:
		return 0, invalid("evidence_sha256", "needs %d bytes", sha256.Size)
	case r.Verdict == VerdictNotEvaluated && issues == 0 && r.Cause == "":
		return 0, invalid("cause", "is needed where nothing was evaluated")
	}
	return issues, nil
}

// storable makes any text one that PostgreSQL takes: names come out of hostile files.
func storable(s string) string {
	return strings.ToValidUTF8(strings.ReplaceAll(s, "\x00", "\uFFFD"), "\uFFFD")
}

// findingsDigest is the SHA-256 of the findings' canonical JSON in their order, as the rows hold them.
func findingsDigest(findings []Finding) ([]byte, error) {
	b, err := canonicalFindings(findings)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(b)
	return sum[:], nil
}

// findingLine is a finding as it is hashed and exported; its fields are part of the export format.
type findingLine struct {
	Ord         int      `json:"ord"`
	Check       string   `json:"check"`
	Part        string   `json:"part"`
	Set         string   `json:"set"`
	LOD         *int     `json:"lod"`
	Tile        *int     `json:"tile"`
	Pose        string   `json:"pose"`
	File        string   `json:"file"`
	Outcome     string   `json:"outcome"`
	Blocks      bool     `json:"blocks"`
	FollowsFrom string   `json:"follows_from"`
	Measured    *float64 `json:"measured"`
	Unit        string   `json:"unit"`
	LimitKey    string   `json:"limit_key"`
	Limit       *float64 `json:"limit"`
}

func canonicalFindings(findings []Finding) ([]byte, error) {
	lines := make([]findingLine, len(findings))
	for i, f := range findings {
		lines[i] = findingLine(f)
	}
	b, err := canon.Marshal(lines)
	if err != nil {
		return nil, fmt.Errorf("%w: findings: %w", ErrInvalid, err)
	}
	return b, nil
}

// insertFindings sends columns, not rows: COPY is refused on tables with row-level security.
func (tx *Tx) insertFindings(ctx context.Context, m lockedMilestone, inspection uuid.UUID, findings []Finding) error {
	n := len(findings)
	if n == 0 {
		return nil
	}
	ord, check, part, set := make([]int, n), make([]string, n), make([]string, n), make([]string, n)
	lod, tile, pose, file := make([]*int, n), make([]*int, n), make([]string, n), make([]string, n)
	outcome, blocks, follows := make([]string, n), make([]bool, n), make([]string, n)
	measured, unit, limitKey, limit := make([]*float64, n), make([]string, n), make([]string, n), make([]*float64, n)
	for i, f := range findings {
		ord[i], check[i], part[i], set[i], lod[i], tile[i], pose[i], file[i] = f.Ord, f.Check, f.Part, f.Set, f.LOD, f.Tile, f.Pose, f.File
		outcome[i], blocks[i], follows[i], measured[i], unit[i], limitKey[i], limit[i] = f.Outcome, f.Blocks, f.FollowsFrom, f.Measured, f.Unit, f.LimitKey, f.Limit
	}
	_, err := tx.Exec(ctx, `INSERT INTO ph.finding (studio_id, vendor_id, inspection_id, `+findingColumns+`)
		SELECT $1, $2, $3, * FROM unnest($4::int[], $5::text[], $6::text[], $7::text[], $8::smallint[], $9::int[], $10::text[], $11::text[], $12::text[], $13::boolean[],
			$14::text[], $15::float8[], $16::text[], $17::text[], $18::float8[])`,
		m.studio, m.vendor, inspection, ord, check, part, set, lod, tile, pose, file, outcome, blocks, follows, measured, unit, limitKey, limit)
	return err
}

func (tx *Tx) insertEvidence(ctx context.Context, m lockedMilestone, inspection uuid.UUID, objects []EvidenceObject) error {
	batch := &pgx.Batch{}
	for _, o := range objects {
		batch.Queue(`INSERT INTO ph.evidence (studio_id, vendor_id, work_order_id, inspection_id, name, what, object_key, sha256, size, media_type)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`,
			m.studio, m.vendor, m.workOrder, inspection, storable(o.Name), storable(o.What), o.ObjectKey, o.SHA256, o.Size, o.MediaType)
	}
	if batch.Len() == 0 {
		return nil
	}
	return tx.SendBatch(ctx, batch).Close()
}
