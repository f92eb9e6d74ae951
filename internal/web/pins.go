package web

import (
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// viewPin is a note at a place on the surface, for the 3D view. Delivery is the number of an earlier delivery that it was
// written on: the view moves such a pin to the nearest surface of what it shows, and says so.
type viewPin struct {
	Note     string      `json:"note"`
	Number   int         `json:"number"`
	At       [3]float64  `json:"at_mm"`
	Normal   *[3]float64 `json:"normal,omitempty"`
	Text     string      `json:"text"`
	Resolved bool        `json:"resolved"`
	Delivery int         `json:"delivery,omitempty"`
	Carried  string      `json:"carried,omitempty"` // what the view says of a pin that it moved; {0} is how far, in mm
}

// pinsOf numbers the places that notes point at: this delivery's first, then those of earlier ones that are open still.
func pinsOf(r words.Reader, who func(ledger.Note) string, notes []ledger.Note, earlier []ledger.EarlierNote) []viewPin {
	out := []viewPin{}
	add := func(n ledger.Note, number int) {
		if n.Pin == nil || len(out) == placesShown {
			return
		}
		pin := viewPin{Note: n.ID.String(), Number: len(out) + 1, At: n.Pin.PositionMM, Normal: n.Pin.Normal, Text: who(n) + ": " + n.Text, Resolved: n.Resolved, Delivery: number}
		if number > 0 {
			pin.Carried = r.Text(words.P("view.carried", words.Name(strconv.Itoa(number)), words.Name("{0}")))
		}
		out = append(out, pin)
	}
	for _, n := range notes {
		add(n, 0)
	}
	for _, n := range earlier {
		add(n.Note, n.Number)
	}
	return out
}

func (page *reviewOne) pins(r words.Reader) []viewPin {
	return pinsOf(r, page.By, page.Notes, page.Earlier)
}

// By is who wrote a note, as the reader may know it: a vendor's people are the vendor to the studio.
func (page deliveryPage) By(n ledger.Note) string {
	if page.Studio && n.Side == ledger.VendorSide {
		return page.Prop.VendorName
	}
	return n.ByName
}

// pinOf reads the place of a new note from a form; nil where it has none. The place is on the delivery's first game mesh.
func pinOf(c echo.Context, d ledger.Delivery) (*ledger.Pin, error) {
	raw := field(c, "pin")
	if raw == "" {
		return nil, nil
	}
	var at struct {
		PositionMM [3]float64  `json:"position_mm"`
		Normal     *[3]float64 `json:"normal"`
	}
	if err := json.Unmarshal([]byte(raw), &at); err != nil {
		return nil, &ledger.Invalid{Field: "pin", Why: "cannot be read"}
	}
	game := slices.IndexFunc(d.Files, func(f ledger.File) bool { return f.Role == "game" || strings.HasPrefix(f.Role, "game.") })
	if game < 0 {
		return nil, &ledger.Invalid{Field: "pin", Why: "needs a game mesh in the delivery"}
	}
	return &ledger.Pin{File: d.Files[game].ID, PositionMM: at.PositionMM, Normal: at.Normal}, nil
}

// replyTo is the note that a new one answers; the zero id where it answers none.
func replyTo(c echo.Context) (uuid.UUID, error) {
	raw := field(c, "reply_to")
	if raw == "" {
		return uuid.Nil, nil
	}
	id, err := uuid.Parse(raw)
	if err != nil {
		return id, ledger.ErrNotFound
	}
	return id, nil
}

// thread is a note with its answers.
type thread struct {
	ledger.Note
	Number  int // of its pin in the 3D view; 0 where it has none
	Replies []ledger.Note
	Mine    bool // the reader's side wrote it, and settles it
}

// threadsOf sorts notes under those that they answer, in the order in which they were begun.
func threadsOf(notes []ledger.Note, side ledger.Side) []thread {
	var out []thread
	at := map[uuid.UUID]int{}
	pins := 0
	for _, n := range notes {
		if n.ReplyTo != nil {
			if i, there := at[*n.ReplyTo]; there {
				out[i].Replies = append(out[i].Replies, n)
				at[n.ID] = i // an answer to an answer stands in the same thread
				continue
			}
		}
		t := thread{Note: n, Mine: n.Side == side}
		if n.Pin != nil {
			pins++
			t.Number = pins
		}
		at[n.ID] = len(out)
		out = append(out, t)
	}
	return out
}

// sketched is a drawing on a picture, as a page shows it.
type sketched struct {
	URL   string
	Lines []string // points of each stroke, "x,y x,y …" in ten-thousandths
}

func sketchedOf(s ledger.Sketch) *sketched {
	out := &sketched{URL: "/v1/inspections/" + s.Inspection.String() + "/pictures/" + s.Picture}
	for _, stroke := range s.Strokes {
		var b strings.Builder
		for i := 0; i+1 < len(stroke); i += 2 {
			b.WriteString(strconv.Itoa(stroke[i]) + "," + strconv.Itoa(stroke[i+1]) + " ")
		}
		out.Lines = append(out.Lines, strings.TrimSpace(b.String()))
	}
	return out
}
