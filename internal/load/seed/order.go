package seed

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/google/uuid"
)

// order is a work order while its year is played.
type order struct {
	studio, vendor *party
	project        *project
	id             uuid.UUID
	code           string
	placed         time.Time
	props          int
	span           time.Duration // over which its props are begun
	rounds         float64       // deliveries a milestone needs, in the mean
	acts           []act
	made           int // deliveries
}

// player plays orders into tables.
type player struct {
	rng     *rand.Rand
	now     time.Time
	results results
	specs   []specText
	tables  *tables
	figures figures
	counts  Counts
}

const (
	reviewDays     = 5
	roundsIncluded = 3
	terms          = "Two weeks' notice. What is agreed in writing counts."
)

func (p *player) between(a, b time.Duration) time.Duration {
	return (a + time.Duration(p.rng.Int64N(int64(b-a)))).Truncate(time.Microsecond)
}

func (p *player) chance(percent int) bool { return p.rng.IntN(100) < percent }

// play writes an order with all that happened to it until now.
func (p *player) play(o *order) error {
	producer := &o.studio.people[1+p.rng.IntN(2)]
	title := quays[p.rng.IntN(len(quays))]
	p.tables.begin("work_order").id(o.studio.id).id(o.vendor.id).id(o.id).id(o.project.id).text(o.code).text("Props for the " + title).text("EUR").
		i4(roundsIncluded).i4(reviewDays).text(terms).time(o.placed).id(producer.id).text(producer.name).done(o.placed)
	sum := sha256.Sum256([]byte(terms))
	var d object
	d.text("code", o.code).text("codename", "").text("currency", "EUR").int("kill_fee_bp", 0).raw("nda_required", "false").int("review_days", reviewDays).
		int("rounds_included", roundsIncluded).raw("silence_accepts", "false").raw("source_roles", "[]").id("studio", o.studio.id).hex("terms_sha256", sum[:]).
		text("title", "Props for the "+title).id("vendor", o.vendor.id)
	o.act(act{at: o.placed, kind: "work_order.placed", version: 2, subject: o.id, actor: "studio", by: producer, data: d.end()})
	for i := range o.props {
		p.prop(o, producer, i)
	}
	return p.close(o)
}

// act notes a fact. Those of one instant are told in the order in which they became known.
func (o *order) act(a act) { o.acts = append(o.acts, a) }

// close makes the order's log of its acts, in the order of time.
func (p *player) close(o *order) error {
	slices.SortStableFunc(o.acts, func(a, b act) int { return a.at.Compare(b.at) })
	l := logBook{studio: o.studio.id, vendor: o.vendor.id, id: o.id}
	for _, a := range o.acts {
		if err := l.add(p.rng, p.tables, a); err != nil {
			return err
		}
	}
	root, frontier, err := l.head()
	if err != nil {
		return fmt.Errorf("log %s: %w", o.id, err)
	}
	p.tables.begin("log").id(o.studio.id).id(o.vendor.id).id(o.id).i8(l.size).bytes(root[:]).bytes(frontier).done(o.placed)
	p.counts.Facts += l.size
	p.counts.Orders++
	return nil
}

// piece is a prop while it is made.
type piece struct {
	id, spec   uuid.UUID
	specNumber int
	code, tier string
	ordered    time.Time
	began      time.Time
	blocked    int
	since      time.Time
	secs       int64
}

var tierShares = []struct {
	tier  string
	upTo  int
	price int64
}{{"background", 35, 18_000}, {"mid", 80, 42_000}, {"hero", 95, 120_000}, {"close_up", 100, 260_000}}

var kinds = []string{"sculpt", "game_mesh", "maps", "final"}

// prop orders a prop with its spec and lets the vendor work on it.
func (p *player) prop(o *order, producer *person, n int) {
	thing := things[p.rng.IntN(len(things))]
	at := o.placed.Add(time.Minute + time.Duration(n)*time.Second)
	c := &piece{id: newID(p.rng, at), code: fmt.Sprintf("%s_%04d", thing, n+1), ordered: at}
	draw, price := p.rng.IntN(100), int64(0)
	for _, t := range tierShares {
		if draw < t.upTo {
			c.tier, price = t.tier, t.price+100*p.rng.Int64N(200)
			break
		}
	}
	title := "A " + thing + " of the " + quays[p.rng.IntN(len(quays))]
	milestones := make([]milestone, len(kinds))
	var list []byte
	for i, kind := range kinds {
		due := o.placed.Add(time.Duration(float64(o.span)*0.6) + time.Duration(i+1)*14*24*time.Hour).Truncate(24 * time.Hour)
		milestones[i] = milestone{id: newID(p.rng, at), kind: kind, position: i + 1, due: due, amount: price / 4, state: "open", since: at}
		var m object
		m.int("amount_minor", price/4).text("due", due.Format(time.DateOnly)).id("id", milestones[i].id).text("kind", kind).int("share_bp", 2500)
		list = append(append(list, ','), m.end()...)
	}
	list[0] = '['
	var d object
	d.text("code", c.code).text("kind", "prop").raw("kit", "null").raw("milestones", string(list)+"]").raw("pilot", "false").int("price_minor", price).text("tier", c.tier).text("title", title)
	o.act(act{at: at, kind: "prop.ordered", version: 2, subject: c.id, actor: "studio", by: producer, data: d.end()})
	p.spec(o, c, at.Add(time.Hour), uuid.Nil, producer)
	begins := at.Add(3*time.Hour + p.between(0, o.span))
	for i := range milestones {
		begins = p.milestone(o, c, &milestones[i], begins)
	}
	p.asks(o, c, at.Add(2*time.Hour))
	r := p.tables.owned("prop", o).id(c.id).text(c.code).text(title).text(c.tier).i8(price).time(at).id(producer.id).text(producer.name).timeOr(c.began).id(c.spec).
		null().i4(c.blocked).timeOr(c.since).i8(c.secs)
	r.done(at)
	for i := range milestones {
		milestones[i].write(p, o, c)
	}
	p.counts.Props++
}

// specText is a document that specs of the world have, with the digest of what it resolves to.
type specText struct{ document, sha256, digest []byte }

// spec publishes a revision; the first is in force at once, a later one when the vendor has acknowledged it.
func (p *player) spec(o *order, c *piece, at time.Time, parent uuid.UUID, by *person) {
	t := p.specs[p.rng.IntN(len(p.specs))]
	id := newID(p.rng, at)
	c.specNumber++
	note := ""
	if parent != uuid.Nil {
		note = "As spoken about on the quay."
	}
	p.tables.owned("spec_revision", o).id(c.id).id(id).i4(c.specNumber).idOr(parent).bytes(t.document).bytes(t.sha256).bytes(t.digest).text(note).id(by.id).text(by.name).time(at).done(at)
	var d object
	d.hex("digest", t.digest).hex("document_sha256", t.sha256).text("note", note).int("number", int64(c.specNumber)).id("parent", parent).id("prop", c.id)
	o.act(act{at: at, kind: "spec.revised", version: 1, subject: id, actor: "studio", by: by, data: d.end()})
	if parent == uuid.Nil {
		c.spec = id
		return
	}
	at = at.Add(p.between(time.Minute, 20*time.Minute))
	ack, lead := newID(p.rng, at), &o.vendor.people[0]
	p.tables.owned("spec_ack", o).id(c.id).id(id).id(ack).id(lead.id).text(lead.name).time(at).done(at)
	var said object
	said.id("prop", c.id).id("spec_revision", id)
	o.act(act{at: at, kind: "spec.acknowledged", version: 1, subject: ack, actor: "vendor", by: lead, data: said.end()})
	c.spec = id
}

// asks lets every twentieth prop have a question, most of them answered and closed.
func (p *player) asks(o *order, c *piece, at time.Time) {
	if !p.chance(5) {
		return
	}
	lead, artist := &o.vendor.people[0], &o.studio.people[5]
	id, blocks, asked := newID(p.rng, at), p.chance(30), at
	state, event, since, waited := "asked", "ask", at, int64(0)
	p.message(o, c, id, blocks, at, "ask", "vendor", lead, "Does the rust on the foot belong to the sculpt or to the maps?")
	if at = at.Add(p.between(time.Hour, 72*time.Hour)); at.Before(p.now) {
		state, event, since, waited = "answered", "answer", at, seconds(at.Sub(asked))
		p.message(o, c, id, blocks, at, "answer", "studio", artist, "To the maps; the sculpt stays clean below the rim.")
		if blocks {
			c.secs = waited
		}
		if at = at.Add(p.between(time.Hour, 24*time.Hour)); at.Before(p.now) && p.chance(80) {
			state, event, since = "closed", "close", at
			p.message(o, c, id, blocks, at, "close", "vendor", lead, "Thank you.")
		}
	} else if blocks {
		c.blocked, c.since = 1, asked
	}
	p.tables.owned("question", o).id(c.id).id(id).i4(1).bool(blocks).text(state).text(event).time(since).i8(waited).id(lead.id).text(lead.name).time(asked).done(asked)
}

func (p *player) message(o *order, c *piece, question uuid.UUID, blocks bool, at time.Time, event, side string, by *person, text string) {
	id, salt := newID(p.rng, at), p.salt()
	p.tables.owned("question_message", o).id(question).id(id).text(side).text(event).text(text).bytes(salt).id(by.id).text(by.name).time(at).done(at)
	sum := sha256.Sum256(append(salt[:len(salt):len(salt)], text...))
	var d object
	d.raw("blocks", fmt.Sprint(blocks)).text("event", event).int("number", 1).id("prop", c.id).id("question", question).text("side", side).raw("spec_revision", "null").
		text("text_commit", hex.EncodeToString(sum[:]))
	o.act(act{at: at, kind: "question.said", version: 1, subject: id, actor: side, by: by, data: d.end()})
}

func (p *player) salt() []byte {
	b := make([]byte, 16)
	for i := range b {
		b[i] = byte(p.rng.Uint32())
	}
	return b
}
