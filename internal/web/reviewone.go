package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// reviewOne is one delivery on one screen: everything that a decision needs, without a click.
type reviewOne struct {
	deliveryPage
	Show, Query string
	At, Of      int // its place among what the reviewer goes through; 0 where it is not among them
	Next        *ledger.ReviewItem
	Previous    *ledger.ReviewItem
	Waiting     waiting
	Saved       []ledger.SavedNote
	Earlier     []ledger.EarlierNote
	References  []reference
	Neighbours  []ledger.Neighbour
	Revisions   []viewRevision
	Places      []viewPlace
	Lit, Clay   *picture
	Outline     *picture
	Compared    *comparison
	Data        reviewSetup
}

// reference is a picture of the order's reference pack.
type reference struct {
	What, Path, URL string
	Own             bool // its path names the prop
}

// reviewSetup is what the script is given.
type reviewSetup struct {
	viewSetup
	Delivery string           `json:"delivery"`
	Next     string           `json:"next,omitempty"`
	Stills   map[string]still `json:"stills"` // by kind
	Pins     []viewPin        `json:"pins"`
}

// still is a picture of this delivery and the same one of the delivery before.
type still struct {
	Now    string `json:"now"`
	Before string `json:"before,omitempty"`
}

// Rounds is how many rounds there are with those in the price.
func (page reviewOne) Rounds() int { return max(page.Delivery.Number, page.Order.RoundsIncluded+1) }

// ExemptCount is how many exemptions the spec gave.
func (page reviewOne) ExemptCount() int {
	if page.Evidence == nil {
		return 0
	}
	return len(page.Evidence.Exempt)
}

// ExemptShare is how much of the surface the exemptions cover, as far as is known.
func (page reviewOne) ExemptShare() float64 {
	share := 0.0
	for _, e := range page.Evidence.Exempt {
		share += e.AreaShare
	}
	return min(share, 1)
}

// MayHold and MayResume say whether the milestone can be kept back, or gone on with.
func (page reviewOne) MayHold() bool {
	return page.Delivery.Milestone == ledger.MReview && page.May.Decide()
}
func (page reviewOne) MayResume() bool { return page.Delivery.Milestone == ledger.MHeld }

// techLines is how many findings the technical section names; the delivery's page has all.
const techLines, techPlaces = 5, 3

// techLine is what the technical section says of the findings of one check: the worst of them in its own words, how many
// more there are, and the places where they can be looked at.
type techLine struct {
	group
	Said   string
	More   int
	Places []viewPlace
}

// Tech are the findings that the technical section names: what blocks, what could not be evaluated, then what warns.
func (page reviewOne) Tech() []techLine {
	var out []techLine
	for _, g := range page.worst() {
		if len(out) == techLines {
			break
		}
		line := techLine{group: g, Said: g.Heading}
		if g.Outcome != acceptance.NotEvaluated {
			line.Said, line.More = farthest(g.Findings).Sentence, len(g.Findings)-1
		}
		for _, place := range page.Places {
			if place.Check == g.Check && place.Mark == mark(g.Outcome) && len(line.Places) < techPlaces {
				line.Places = append(line.Places, place)
			}
		}
		out = append(out, line)
	}
	return out
}

// Untold is how many checks' findings the section leaves to the delivery's page.
func (page reviewOne) Untold() int { return max(0, len(page.worst())-techLines) }

func (page reviewOne) worst() []group {
	return slices.Concat(page.Found.Issues, page.Found.Unable, page.Found.Warnings)
}

func (p *Pages) reviewOne(c echo.Context) error {
	return p.showOne(c, http.StatusOK, refusal{}, words.Phrase{})
}

func (p *Pages) showOne(c echo.Context, status int, r refusal, told words.Phrase) error {
	if err := studio(c); err != nil {
		return err
	}
	page, err := p.loadOne(c)
	if err != nil {
		return err
	}
	page.Refusal, page.Told = r, told
	if c.QueryParam("undone") != "" && told.Code == "" {
		page.Told = words.P("review.told_undone")
	}
	return p.render(c, status, "reviewone", frame{Title: words.Text(page.Prop.Title), At: "review"}, page)
}

func (p *Pages) loadOne(c echo.Context) (reviewOne, error) {
	base, err := p.loadDelivery(c)
	if err != nil {
		return reviewOne{}, err
	}
	page := reviewOne{deliveryPage: base}
	var before ledger.PastEvidence
	f, show, query, err := reviewFilter(c)
	if err != nil {
		return page, err
	}
	page.Show, page.Query = show, query
	_, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		items, err := tx.Review(ctx, f)
		if err != nil {
			return none, err
		}
		page.At, page.Next = placeAmong(items, page.Delivery.ID)
		page.Of = len(items)
		if page.At > 1 {
			page.Previous = &items[page.At-2]
		}
		if page.Waiting, err = waitingOf(ctx, tx); err != nil {
			return none, err
		}
		if page.Pending, err = tx.PendingOn(ctx, page.Delivery.MilestoneID); err != nil {
			return none, err
		}
		if page.Saved, err = tx.SavedNotes(ctx); err != nil {
			return none, err
		}
		if page.Earlier, err = tx.EarlierNotes(ctx, page.Delivery); err != nil {
			return none, err
		}
		if page.Neighbours, err = tx.Neighbours(ctx, page.Prop.ID, truePixels, 2); err != nil {
			return none, err
		}
		if page.References, err = referencesFor(ctx, tx, page.Prop); err != nil {
			return none, err
		}
		if before, err = tx.EvidenceBefore(ctx, page.Delivery); err != nil {
			return none, err
		}
		page.Revisions, err = revisionsOf(ctx, tx, page.Delivery)
		return none, err
	})
	if err != nil {
		return page, err
	}
	page.choosePictures()
	if page.Evidence != nil {
		page.Places = placesOf(p.reader(c), page.Evidence.Findings)
	}
	page.Compared = p.compareWithBefore(c.Request().Context(), p.reader(c), page.Delivery, before, page.Evidence)
	page.Data = page.setup(p.reader(c))
	return page, nil
}

// truePixels is the picture of a prop alone in real pixels.
const truePixels = "prop_true_pixels.png"

// choosePictures finds the pictures that have a place of their own on the screen.
func (page *reviewOne) choosePictures() {
	all := append(append([]picture{}, page.Stills...), page.Details...)
	for i := range all {
		switch name := all[i].Name; {
		case name == "prop_lit.png":
			page.Lit = &all[i]
		case name == "prop_clay.png":
			page.Clay = &all[i]
		case name == "prop_game_distance.png" && page.True == nil: // of an inspection that made no picture of the prop alone
			page.True = &all[i]
		case strings.HasPrefix(name, "silhouette_worst"):
			page.Outline = &all[i]
		}
	}
}

// referenceFirst is the order in which reference pictures stand beside a prop: what it is to be, then what it is to stand beside.
var referenceFirst = []string{"concept", "yardstick", "scale", "material_board", "block_out_view", "neighbour", "other", "avoid"}

// ofOneProp are the kinds that show one prop: where their path does not name it, it most likely is another's.
var ofOneProp = []string{"concept", "block_out_view"}

// referencesFor are the pictures of the order's newest published pack: those that name the prop in their path first.
func referencesFor(ctx context.Context, tx *ledger.Tx, prop ledger.Prop) ([]reference, error) {
	packs, err := tx.ReferencePacks(ctx, prop.WorkOrderID)
	if err != nil {
		return nil, err
	}
	for _, head := range packs { // newest first
		if head.PublishedAt == nil {
			continue
		}
		pack, err := tx.ReferencePack(ctx, head.ID)
		if errors.Is(err, ledger.ErrForbidden) {
			return nil, nil // its secrecy is not acknowledged yet
		}
		if err != nil {
			return nil, err
		}
		var own, others, last []reference
		for _, what := range referenceFirst {
			for _, f := range pack.Files {
				if f.What != what || !shownAsPicture(f.MediaType) {
					continue
				}
				r := reference{What: f.What, Path: f.Path, URL: "/references/" + pack.ID.String() + "/files/" + f.ID.String()}
				r.Own = strings.Contains(strings.ToLower(f.Path), strings.ToLower(prop.Code))
				switch {
				case r.Own:
					own = append(own, r)
				case slices.Contains(ofOneProp, f.What):
					last = append(last, r)
				default:
					others = append(others, r)
				}
			}
		}
		return slices.Concat(own, others, last), nil
	}
	return nil, nil
}

// setup is the data of the script: addresses of models and stills, and its words in the reader's language.
func (page *reviewOne) setup(r words.Reader) reviewSetup {
	s := reviewSetup{viewSetup: viewSetup{Revisions: page.Revisions, Places: page.Places, Words: viewWordsIn(r)}, Delivery: page.Delivery.ID.String(), Stills: map[string]still{}, Pins: page.pins(r)}
	s.Words["chosen"] = r.Text(words.P("review.chosen", words.Name("{0}")))
	s.Words["needs_note"] = r.Text(words.P("review.needs_note", words.Name("{0}")))
	s.Words["choose_first"] = r.Text(words.P("review.choose_first"))
	if page.Next != nil {
		s.Next = "/review/" + page.Next.Delivery.String() + page.Query
	}
	before := ""
	for _, rev := range page.Revisions {
		if rev.Number < page.Delivery.Number {
			before = strings.TrimSuffix(rev.Game, "model_game.glb")
		}
	}
	for kind, pic := range map[string]*picture{"lit": page.Lit, "clay": page.Clay, "outline": page.Outline} {
		if pic == nil {
			continue
		}
		one := still{Now: pic.URL}
		if before != "" && kind != "outline" {
			one.Before = before + pic.Name
		}
		s.Stills[kind] = one
	}
	return s
}

// sketchOf reads a drawing from a form; nil where nothing was drawn.
func sketchOf(c echo.Context, inspection uuid.UUID) (*ledger.Sketch, error) {
	raw := field(c, "sketch")
	if raw == "" {
		return nil, nil
	}
	s := ledger.Sketch{Inspection: inspection, Picture: field(c, "sketch_on")}
	if err := json.Unmarshal([]byte(raw), &s.Strokes); err != nil {
		return nil, &ledger.Invalid{Field: "sketch", Why: "cannot be read"}
	}
	if len(s.Strokes) == 0 {
		return nil, nil
	}
	return &s, nil
}

// decideOne takes a decision that the vendor is told in ten minutes, and goes on to the next delivery.
func (p *Pages) decideOne(c echo.Context) error {
	if err := studio(c); err != nil {
		return err
	}
	id, err := idOf(c)
	if err != nil {
		return err
	}
	_, _, err = act(c, p, "pending_sign_off", func(ctx context.Context, tx *ledger.Tx) (ledger.PendingSignOff, uuid.UUID, error) {
		return prepare(ctx, c, tx, id)
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "decision", err)
		return p.showOne(c, r.Status, r, words.Phrase{})
	}
	if err != nil {
		return err
	}
	return p.onward(c, id)
}

// onward goes to the delivery that comes next, or to the sheet where none is left.
func (p *Pages) onward(c echo.Context, from uuid.UUID) error {
	f, _, query, err := reviewFilter(c)
	if err != nil {
		return err
	}
	items, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) ([]ledger.ReviewItem, error) { return tx.Review(ctx, f) })
	if err != nil {
		return err
	}
	if _, next := placeAmong(items, from); next != nil {
		return c.Redirect(http.StatusSeeOther, "/review/"+next.Delivery.String()+query)
	}
	return c.Redirect(http.StatusSeeOther, "/review"+query)
}

// holdOne keeps a delivery back without deciding, or goes on with it. That is told to the vendor at once.
func (p *Pages) holdOne(c echo.Context) error {
	if err := studio(c); err != nil {
		return err
	}
	id, err := idOf(c)
	if err != nil {
		return err
	}
	resume := field(c, "resume") != ""
	_, _, err = act(c, p, "hold", func(ctx context.Context, tx *ledger.Tx) (m ledger.Milestone, _ uuid.UUID, err error) {
		d, err := tx.Delivery(ctx, id)
		if err != nil {
			return m, m.ID, err
		}
		if resume {
			m, err = tx.ResumeMilestone(ctx, d.MilestoneID, reasonOf(c))
		} else {
			m, err = tx.HoldMilestone(ctx, d.MilestoneID, reasonOf(c))
		}
		return m, d.MilestoneID, err
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "decision", err)
		return p.showOne(c, r.Status, r, words.Phrase{})
	}
	if err != nil {
		return err
	}
	if resume {
		return c.Redirect(http.StatusSeeOther, "/review/"+id.String())
	}
	return p.onward(c, id)
}

// tickNote says of an earlier note that it is mended in this delivery, or is not.
func (p *Pages) tickNote(c echo.Context) error {
	if err := studio(c); err != nil {
		return err
	}
	id, err := idOf(c)
	if err != nil {
		return err
	}
	note, err := uuid.Parse(field(c, "note"))
	if err != nil {
		return ledger.ErrNotFound
	}
	fixed := field(c, "fixed") == "yes"
	_, _, err = act(c, p, "note_resolution", func(ctx context.Context, tx *ledger.Tx) (ledger.Note, uuid.UUID, error) {
		in := id
		if !fixed {
			in = uuid.Nil
		}
		n, err := tx.ResolveNote(ctx, note, fixed, in)
		return n, n.ID, err
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "asked", err)
		return p.showOne(c, r.Status, r, words.Phrase{})
	}
	if err != nil {
		return err
	}
	_, _, query, err := reviewFilter(c)
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/review/"+id.String()+query+"#asked")
}

// Cleared says that nothing blocks by the machine's verdict.
func (page reviewOne) Cleared() bool {
	return page.Inspection != nil && page.Inspection.Verdict == ledger.VerdictPass
}
