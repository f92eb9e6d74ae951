package web

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// specStart is the form from which a prop's first spec is written. What is left empty comes from the tier's preset, or
// from the spec that it starts from.
type specStart struct {
	Triangles            string
	Width, Height, Depth string // millimetres
	Density              string // pixels per metre
	Maps                 []string
	From                 string // "code@revision"
	Parents              []specParent
	Wrong                string // name of the first field that cannot be read
}

// specParent is a published spec of another prop of the order, which this one may extend.
type specParent struct {
	Code, Title string
	Revision    int
}

// Ref is how the form names it.
func (s specParent) Ref() string { return s.Code + "@" + strconv.Itoa(s.Revision) }

// mapsOffered are the maps that the form offers, as the roles of files name them.
var mapsOffered = []string{"base_color", "normal", "metal_rough", "occlusion", "normal_baked"}

// Offered are the maps to pick from.
func (specStart) Offered() []string { return mapsOffered }

// Picked says whether a map was picked.
func (s specStart) Picked(name string) bool { return slices.Contains(s.Maps, name) }

// readStart reads the form out of the address: writing the draft changes nothing, so it is asked for, not sent.
func readStart(c echo.Context) specStart {
	at := func(name string) string { return strings.TrimSpace(c.QueryParam(name)) }
	s := specStart{Triangles: at("triangles"), Width: at("width"), Height: at("height"), Depth: at("depth"), Density: at("density"), From: at("from")}
	for _, name := range mapsOffered {
		if slices.Contains(c.QueryParams()["map"], name) {
			s.Maps = append(s.Maps, name)
		}
	}
	return s
}

// loadParents finds what the spec may extend: what is in force for the other props of the order.
func loadParents(ctx context.Context, tx *ledger.Tx, prop ledger.Prop) (out []specParent, err error) {
	list, err := tx.Props(ctx, ledger.PropFilter{WorkOrder: prop.WorkOrderID}, ledger.Page{Limit: 200})
	if err != nil {
		return nil, err
	}
	for _, other := range list.Items {
		if other.ID != prop.ID && other.SpecInForce != nil {
			out = append(out, specParent{other.Code, other.Title, other.SpecInForce.Number})
		}
	}
	return out, nil
}

// measureTyped is a number with at most two decimals: "1.200" could be read two ways and is refused.
var measureTyped = regexp.MustCompile(`^[0-9]{1,7}([.,][0-9]{1,2})?$`)

// measured reads such a number as a spec has it.
func measured(text string) (string, bool) {
	text = strings.Replace(text, ",", ".", 1)
	v, err := strconv.ParseFloat(text, 64)
	return text, err == nil && v > 0
}

// document writes the spec. A field that cannot be read is named by Wrong and left out.
func (s *specStart) document(prop ledger.Prop) string {
	var b strings.Builder
	fmt.Fprintf(&b, "prop: %s\ntitle: %s\ntier: %s\n", prop.Code, strconv.Quote(prop.Title), prop.Tier)
	if i := slices.IndexFunc(s.Parents, func(p specParent) bool { return p.Ref() == s.From }); i >= 0 {
		fmt.Fprintf(&b, "extends: [{spec: %s, revision: %d}]\n", s.Parents[i].Code, s.Parents[i].Revision)
	}
	number := func(field, text string) string {
		v, ok := "", false
		if measureTyped.MatchString(text) {
			v, ok = measured(text)
		}
		if text != "" && !ok && s.Wrong == "" {
			s.Wrong = field
		}
		if !ok {
			return ""
		}
		return v
	}
	sides := []string{number("width", s.Width), number("height", s.Height), number("depth", s.Depth)}
	switch missing := slices.Index(sides, ""); {
	case missing < 0:
		fmt.Fprintf(&b, "size_mm: [%s]\n", strings.Join(sides, ", "))
	case strings.Join(sides, "") != "" && s.Wrong == "": // two sides alone are no size
		s.Wrong = []string{"width", "height", "depth"}[missing]
	}
	checks := ""
	if v := number("triangles", s.Triangles); v != "" {
		if strings.Contains(v, ".") {
			s.Wrong = "triangles"
		} else {
			checks += "  budget.triangles: {max_triangles: " + v + "}\n"
		}
	}
	if v := number("density", s.Density); v != "" {
		checks += "  uv.texel_density: {target_px_per_m: " + v + "}\n"
	}
	if len(s.Maps) > 0 {
		checks += "  maps.files: {required: [" + strings.Join(s.Maps, ", ") + "]}\n"
	}
	if checks != "" {
		b.WriteString("checks:\n" + checks)
	}
	return b.String()
}

// budgetSaid is from which number of triangles on the budget blocks or warns, where it has one.
func budgetSaid(r words.Reader, check string, rule spec.Rule) words.Phrase {
	most, on := rule.Num("max_triangles")
	if check != "budget.triangles" || !on || rule.Mode != spec.Blocks && rule.Mode != spec.Warns {
		return words.Phrase{}
	}
	over := rule.Numbers["over_share"]
	said := func(v float64) any { return words.Name(r.Number(v)) }
	// Whole triangles: the last that does not break the bound, and the first that the lower bound is content with.
	return words.P("spec.budget_"+string(rule.Mode), said(math.Floor(most*(1+over))), words.Name(r.Unit(over, "share")), said(most),
		said(math.Ceil(most*rule.Numbers["min_share"])))
}
