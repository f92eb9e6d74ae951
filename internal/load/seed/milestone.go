package seed

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"time"

	"github.com/google/uuid"
)

// milestone is a milestone while it goes from desk to desk.
type milestone struct {
	id                                 uuid.UUID
	kind, state, event                 string
	position                           int
	amount                             int64
	due, since, reviewDue              time.Time
	rounds, reworkVendor, reworkStudio int
	vendor, studio, test               int64 // seconds on each desk
	deliveries                         int   // numbers given
}

// seconds is a time as the database counts it on a desk.
func seconds(d time.Duration) int64 { return max(0, int64(math.Round(d.Seconds()))) }

// move takes the milestone one step on.
func (m *milestone) move(event, to string, at time.Time) {
	passed := seconds(at.Sub(m.since))
	switch m.state {
	case "open", "failed", "returned":
		m.vendor += passed
	case "inspecting":
		m.test += passed
	default:
		m.studio += passed
	}
	m.state, m.event, m.since = to, event, at
}

func (m *milestone) write(p *player, o *order, c *piece) {
	r := p.tables.owned("milestone", o).id(c.id).id(m.id).i4(m.position).text(m.kind).i4(2500).i8(m.amount).date(m.due).date(m.due).text(m.state).textOr(m.event).time(m.since).
		i4(m.rounds).i4(m.reworkVendor).i4(m.reworkStudio)
	if m.state == "review" {
		r.time(m.reviewDue)
	} else {
		r.null()
	}
	r.i8(m.vendor).i8(m.studio).i8(m.test).done(c.ordered)
	p.counts.Milestones++
}

// milestone plays the rounds of one milestone and says when the next may begin.
func (p *player) milestone(o *order, c *piece, m *milestone, at time.Time) time.Time {
	rounds := 1
	for p.rng.Float64() < 1-1/o.rounds && rounds < 12 {
		rounds++
	}
	cause := "first"
	for round := 1; round <= rounds; round++ {
		at = at.Add(p.between(8*time.Hour, 90*time.Hour))
		if !at.Before(p.now) {
			return at
		}
		if c.specNumber == 1 && !c.began.IsZero() && p.chance(2) {
			p.spec(o, c, at.Add(-30*time.Minute), c.spec, &o.studio.people[5])
		}
		d := &delivery{order: o, piece: c, milestone: m, opened: at, cause: cause, last: round == rounds}
		at, cause = p.deliver(d)
		if at.IsZero() { // until now
			return p.now
		}
	}
	return at.Add(p.between(4*time.Hour, 48*time.Hour))
}

// delivery is one delivery while it is looked at.
type delivery struct {
	order     *order
	piece     *piece
	milestone *milestone
	id        uuid.UUID
	opened    time.Time
	sealed    time.Time
	cause     string
	last      bool
	by        *person
	inspected uuid.UUID
	manifest  []byte
	files     []byte // as the sealed leaf names them
	found     *result
	doneAt    time.Time
}

// deliver plays one delivery to its decision; a zero time says that it has not come so far yet.
func (p *player) deliver(d *delivery) (next time.Time, cause string) {
	m := d.milestone
	if p.chance(2) {
		p.open(d)
		gone := d.opened.Add(p.between(time.Hour, 20*time.Hour))
		if !gone.Before(p.now) {
			p.writeDelivery(d, "open", time.Time{})
			return time.Time{}, ""
		}
		p.writeDelivery(d, "abandoned", gone)
		var o object
		o.id("milestone", m.id).int("number", int64(m.deliveries))
		d.order.act(act{at: gone, kind: "delivery.abandoned", version: 1, subject: d.id, actor: "vendor", by: d.by, data: o.end()})
		d.opened = gone.Add(p.between(time.Hour, 30*time.Hour))
		if !d.opened.Before(p.now) {
			return time.Time{}, ""
		}
	}
	p.open(d)
	d.sealed = d.opened.Add(p.between(4*time.Minute, 90*time.Minute))
	if !d.sealed.Before(p.now) {
		p.writeDelivery(d, "open", time.Time{})
		return time.Time{}, ""
	}
	p.writeDelivery(d, "sealed", d.sealed)
	m.move("seal", "inspecting", d.sealed)
	m.rounds++
	switch d.cause {
	case "nonconformity":
		m.reworkVendor++
	case "changed_mind":
		m.reworkStudio++
	}
	var o object
	o.raw("files", string(d.files)).hex("manifest_sha256", d.manifest).id("milestone", m.id).int("number", int64(m.deliveries)).text("round_cause", d.cause)
	d.order.act(act{at: d.sealed, kind: "delivery.sealed", version: 2, subject: d.id, actor: "vendor", by: d.by, data: o.end()})
	if !p.inspect(d) {
		return time.Time{}, ""
	}
	return p.decide(d)
}

// open begins the delivery and its files, whose rows are written as they end.
func (p *player) open(d *delivery) {
	c, m, o := d.piece, d.milestone, d.order
	if c.began.IsZero() {
		c.began = d.opened
	}
	m.deliveries++
	o.made++
	p.counts.Deliveries++
	d.id, d.by = newID(p.rng, d.opened), &o.vendor.people[p.rng.IntN(len(o.vendor.people))]
	var manifest []byte
	d.files = d.files[:0]
	for i, f := range []struct {
		path, role, media string
		size              int64
	}{{c.code + ".glb", "game", "model/gltf-binary", 600_000}, {c.code + "_sculpt.glb", "sculpt", "model/gltf-binary", 140_000_000}, {"maps/" + c.code + "_n.png", "map.normal", "image/png", 9_000_000}} {
		size := f.size + p.rng.Int64N(f.size)
		sum, id, etag := p.digest(), newID(p.rng, d.opened), hex.EncodeToString(p.salt())
		key := "in/" + o.vendor.id.String() + "/" + d.id.String() + "/" + id.String()
		p.tables.owned("file", o).id(d.id).id(id).i4(i).text(f.path).text(f.role).i8(size).bytes(sum).text(f.media).text(key).i8(0).text(etag).done(d.opened)
		var line, leaf object
		line.text("path", f.path).text("role", f.role).hex("sha256", sum).int("size", size)
		manifest = append(append(manifest, ','), line.end()...)
		leaf.text("etag", etag).id("id", id).text("object", key).text("path", f.path).text("role", f.role).hex("sha256", sum).int("size", size)
		d.files = append(append(d.files, ','), leaf.end()...)
	}
	manifest[0], d.files[0] = '[', '['
	sum := sha256.Sum256(append(manifest, ']'))
	d.manifest, d.files = sum[:], append(d.files, ']')
	var a object
	a.raw("batch", "null").int("bytes", deliveryBytes).int("files", 3).hex("manifest_sha256", d.manifest).id("milestone", m.id).text("note", "").int("number", int64(m.deliveries)).id("spec_revision", c.spec)
	o.act(act{at: d.opened, kind: "delivery.opened", version: 2, subject: d.id, actor: "vendor", by: d.by, data: a.end()})
}

const deliveryBytes = 224_000_000

func (p *player) digest() []byte {
	b := make([]byte, 0, 32)
	for range 4 {
		b = strconv.AppendUint(b, p.rng.Uint64(), 36)
	}
	sum := sha256.Sum256(b)
	return sum[:]
}

// writeDelivery writes the delivery as it stands after its last step at an instant.
func (p *player) writeDelivery(d *delivery, state string, at time.Time) {
	m, c := d.milestone, d.piece
	r := p.tables.owned("delivery", d.order).id(c.id).id(m.id).id(d.id).i4(m.deliveries).text(state).text("").bytes(d.manifest).id(c.spec).i4(3).i8(deliveryBytes).id(d.by.id).text(d.by.name).time(d.opened)
	switch state {
	case "sealed":
		r.time(at.Add(-2 * time.Second)).time(at).id(d.by.id).null().null().text(d.cause).null()
	case "abandoned":
		r.null().null().null().time(at).id(d.by.id).null().time(at.Add(time.Hour))
	default:
		r.null().null().null().null().null().null().null()
	}
	r.done(d.opened)
}

// inspect lets the machine look; false where it has not yet.
func (p *player) inspect(d *delivery) bool {
	m, c, o := d.milestone, d.piece, d.order
	switch draw := p.rng.IntN(100); {
	case draw < 3 && !d.last:
		d.found = pick(p.rng, p.results.unable)
	case (draw < 72 && !d.last) || (draw < 7 && d.last):
		d.found = pick(p.rng, p.results.fail)
	default:
		d.found = pick(p.rng, p.results.pass)
	}
	started := d.sealed.Add(p.between(time.Second, 8*time.Minute))
	d.doneAt = started.Add(p.between(8*time.Second, 70*time.Second))
	d.inspected = newID(p.rng, d.sealed)
	r := p.tables.owned("inspection", o).id(c.id).id(m.id).id(d.id).id(d.inspected).id(c.spec).i4(c.specNumber).text("")
	if !d.doneAt.Before(p.now) {
		r.text("queued").i8(0).i4(0).time(d.sealed).null().null()
		for range 9 {
			r.null()
		}
		r.bool(false).null().done(d.sealed)
		return false
	}
	f := d.found
	r.text("done").i8(1).i4(1).time(d.sealed).time(started).time(d.doneAt).text(engineName).text(engineDigest).text(f.verdict).text(f.headline).text(f.cause)
	if f.evidence == nil {
		r.null()
	} else {
		r.bytes(f.evidenceSHA256)
	}
	r.bytes(f.findingsSHA256).i4(len(f.lines)).i4(f.issues).bool(true).i4(0).done(d.sealed)
	p.findings(d)
	objects := p.objects(d)
	var a object
	a.int("attempts", 1).text("cause", f.cause).id("delivery", d.id).text("engine", engineName).text("engine_digest", engineDigest)
	if f.evidence == nil {
		a.raw("evidence_sha256", "null")
	} else {
		a.hex("evidence_sha256", f.evidenceSHA256)
	}
	a.int("fence", 1).int("findings", int64(len(f.lines))).hex("findings_sha256", f.findingsSHA256).int("issues", int64(f.issues)).id("milestone", m.id)
	if objects == nil {
		a.raw("objects_sha256", "null")
	} else {
		a.hex("objects_sha256", objects)
	}
	a.int("permitted", 0).id("spec_revision", c.spec).text("verdict", f.verdict)
	o.act(act{at: d.doneAt, kind: "inspection.recorded", version: 2, subject: d.inspected, actor: "machine", data: a.end()})
	p.counts.Inspections++
	p.figures.inspected(o, c, f, d.doneAt)
	switch f.verdict {
	case "pass":
		m.move("pass", "review", d.doneAt)
		m.reviewDue = d.doneAt.AddDate(0, 0, reviewDays+2)
	case "fail":
		m.move("fail", "failed", d.doneAt)
	default:
		m.move("unable", "stuck", d.doneAt)
	}
	return true
}

func pick(rng *rand.Rand, from []*result) *result { return from[rng.IntN(len(from))] }

func (p *player) findings(d *delivery) {
	r := p.tables.findings(d.sealed)
	for _, packed := range d.found.packed {
		r.begin(18).id(d.order.studio.id).id(d.order.vendor.id).id(d.inspected).data = append(r.data, packed...)
		r.done(d.sealed)
	}
	p.counts.Findings += int64(len(d.found.packed))
}

// objects writes the rows of the evidence and gives their digest as the leaf has it; nil where there are none.
func (p *player) objects(d *delivery) []byte {
	if d.found.evidence == nil {
		return nil
	}
	var all []byte
	for _, e := range d.found.objects() { // by name
		key := EvidenceKey(d.order.id, e.sha256)
		p.tables.owned("evidence", d.order).id(d.inspected).text(e.name).text(e.what).text(key).bytes(e.sha256).i8(int64(len(e.body))).text(e.media).done(d.doneAt)
		if all != nil {
			all = append(all, '\n')
		}
		all = append(all, fmt.Sprintf("%s %x %d %s %s %s", e.name, e.sha256, len(e.body), key, e.media, e.what)...)
	}
	sum := sha256.Sum256(all)
	return sum[:]
}
