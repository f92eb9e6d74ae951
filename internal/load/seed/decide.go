package seed

import (
	"crypto/sha256"
	"encoding/hex"
	"time"

	"github.com/google/uuid"
)

// decide plays what the studio does with what was found; the last round ends accepted.
func (p *player) decide(d *delivery) (next time.Time, cause string) {
	m, at := d.milestone, d.doneAt
	if !d.last && m.state != "review" && p.chance(85) {
		if m.state == "stuck" {
			return at, "not_evaluated"
		}
		return at, "nonconformity" // the vendor sees it at once and sends the next
	}
	at = at.Add(p.between(2*time.Hour, 60*time.Hour))
	if !at.Before(p.now) {
		return time.Time{}, ""
	}
	by := &d.order.studio.people[3]
	role := "art_director"
	if p.chance(60) && d.piece.tier != "hero" && d.piece.tier != "close_up" {
		by, role = &d.order.studio.people[4], "art_lead"
	}
	if p.chance(12) {
		p.note(d, at.Add(-30*time.Minute), by, "The seam on the back shows from the pier.")
	}
	switch {
	case d.last && m.state == "review":
		p.signOff(d, at, by, role, "accept", "", "")
		m.move("accept", "accepted", at)
	case d.last && m.state == "failed":
		for _, l := range d.found.lines {
			if l.Blocks && l.Outcome == "fail" {
				p.concede(d, l, at, by)
			}
		}
		p.signOff(d, at, by, role, "accept_as_is", "Nobody sees it behind the nets.", "")
		m.move("accept_as_is", "accepted", at)
	default:
		cause = "nonconformity"
		if m.reworkStudio < roundsIncluded && p.chance(15) {
			cause = "changed_mind"
		}
		p.signOff(d, at, by, role, "return", "The rim reads too thin from the quay.", cause)
		m.move("return", "returned", at)
		return at, cause
	}
	p.figures.accepted(d.order, d.piece, m, at, d.sealed)
	return at, ""
}

func (p *player) signOff(d *delivery, at time.Time, by *person, role, decision, reason, cause string) {
	m, o := d.milestone, d.order
	id := newID(p.rng, at)
	p.tables.owned("sign_off", o).id(d.piece.id).id(m.id).id(d.id).id(d.inspected).id(id).text(decision).text(reason).id(by.id).text(by.name).text(role).id(d.by.id).id(d.by.id).
		time(at).textOr(cause).done(at)
	var a object
	a.textOr("cause", cause).text("decision", decision).id("delivery", d.id).raw("deputy", "null").raw("effective_at", "null").id("inspection", d.inspected).id("milestone", m.id).
		text("reason", reason).raw("reminder", "null").text("role", role)
	o.act(act{at: at, kind: "milestone.signed_off", version: 2, subject: id, actor: "studio", by: by, data: a.end()})
	p.counts.SignOffs++
	if decision == "return" {
		return
	}
	pay := newID(p.rng, at)
	p.tables.owned("payable", o).id(d.piece.id).id(m.id).id(id).id(pay).i8(m.amount).text("EUR").time(at).text("milestone").done(at)
	var b object
	b.int("amount_minor", m.amount).raw("cancellation", "null").text("currency", "EUR").text("kind", "milestone").id("milestone", m.id).id("sign_off", id)
	// The service writes both facts as acts of the person who signs off.
	o.act(act{at: at, kind: "milestone.payable", version: 2, subject: pay, actor: "studio", by: by, data: b.end()})
	p.counts.Payables++
}

func (p *player) concede(d *delivery, l line, at time.Time, by *person) {
	id := newID(p.rng, at)
	const reason = "Nobody sees it behind the nets."
	p.tables.owned("concession", d.order).id(d.id).id(d.inspected).i4(l.Ord).text(l.Check).id(id).text(reason).id(by.id).text(by.name).time(at).done(at)
	var a object
	a.text("check", l.Check).id("delivery", d.id).id("inspection", d.inspected).int("ord", int64(l.Ord)).raw("permission", "null").text("reason", reason)
	d.order.act(act{at: at, kind: "concession.granted", version: 2, subject: id, actor: "studio", by: by, data: a.end()})
	p.counts.Concessions++
}

func (p *player) note(d *delivery, at time.Time, by *person, text string) {
	id, salt := newID(p.rng, at), p.salt()
	p.tables.owned("note", d.order).id(d.id).id(id).text("studio").text(text).bytes(salt).id(by.id).text(by.name).time(at).done(at)
	sum := sha256.Sum256(append(salt[:len(salt):len(salt)], text...))
	var a object
	a.id("delivery", d.id).raw("pin", "null").raw("private", "false").raw("reply_to", "null").text("side", "studio").text("text_commit", hex.EncodeToString(sum[:]))
	d.order.act(act{at: at, kind: "note.written", version: 2, subject: id, actor: "studio", by: by, data: a.end()})
	p.counts.Notes++
}

// evidenceObject is one stored file of an inspection.
type evidenceObject struct {
	name, what, media string
	body, sha256      []byte
}

// still is a picture of one pixel: what is measured is finding it, not drawing it.
var still = []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\x00\x01\x00\x00\x00\x01\x08\x00\x00\x00\x00:~\x9bU\x00\x00\x00\nIDATx\x9cc`\x00\x00\x00\x02\x00\x01H\xaf\xa4q\x00\x00\x00\x00IEND\xaeB`\x82")

var stillSHA256 = sha256.Sum256(still)

// objects are what an inspection leaves in the storage, by name.
func (r *result) objects() []evidenceObject {
	return []evidenceObject{
		{"deviation.png", "deviation", "image/png", still, stillSHA256[:]},
		{"evidence.json", "the evidence", "application/json", r.evidence, r.evidenceSHA256},
		{"prop_lit.png", "the prop, lit", "image/png", still, stillSHA256[:]},
	}
}

// EvidenceKey is where a work order's evidence of a digest lies.
func EvidenceKey(order uuid.UUID, sum []byte) string {
	return "wo/" + order.String() + "/evidence/" + hex.EncodeToString(sum)
}
