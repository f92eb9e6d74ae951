// Package demo plays a scenario against a running service through its public API, as its people would: a studio orders
// props of a harbour from two vendors, the vendors deliver, some of it with faults, and the studio decides. Everybody and
// everything in it is invented.
package demo

import (
	"embed"

	"proofhouse/internal/client"
	"proofhouse/internal/demo/props"
)

// Studio is the studio's name, and its first member's.
const (
	Studio     = "Kelpgate Games"
	FirstName  = "Ines Haddal"
	FirstEmail = "ines@kelpgate.example"
)

// person is one member of the cast. The first person of a vendor is its lead.
type person struct {
	name, email string
	roles       []string
	party       string // a vendor's name; "" for the studio
}

var people = []person{
	{"Marek Osei", "marek@kelpgate.example", []string{"art_director"}, ""},
	{"Noor Lindqvist", "noor@kelpgate.example", []string{"technical_artist"}, ""},
	{"Ole Brekke", "ole@brackwater.example", []string{"vendor_lead"}, "Brackwater Props"},
	{"Tamsin Reyes", "tamsin@ninthlock.example", []string{"vendor_lead"}, "Ninth Lock Workshop"},
}

// order is one work order of the scenario.
type order struct {
	code, title, vendor, currency string
	props                         []ordered
	batch                         *batch // what its vendor sends together, after the single deliveries
	references                    []reference
	looked                        bool // the vendor says that it looked at the references
}

// ordered is one prop of an order, what arrives for it, and what the studio makes of that.
type ordered struct {
	code, title, tier string
	priceMinor        int64
	dueInDays         int
	rounds            []round
}

// round is one delivery of a prop, for its game mesh unless it says otherwise. verdict and headlineHas are what the demo checks itself by.
type round struct {
	milestone   client.MilestoneKind // empty for the game mesh
	fault       props.Fault
	note        string
	verdict     string
	headlineHas string
	pin         *pin   // a note of the art director's on the surface
	concede     string // the check whose finding the art director lets be
	decide      string // the art director's decision, "" for none yet
	reason      string // of the decision, and of the concession
}

// pin is a note on a place of the delivered surface, in the file's millimetres.
type pin struct {
	part, text string
	at, normal []float64
}

// batch is several deliveries that are sent, sealed and decided together.
type batch struct {
	title  string
	rounds []batched
}

type batched struct {
	prop   string
	number int
	round
}

// reference is one sheet of an order's reference pack; draw makes it, as a PNG.
type reference struct {
	path string
	what client.ReferenceKind
	draw func() ([]byte, error)
}

func concept(code string, remarks ...props.Remark) reference {
	return reference{"concept/" + code + ".png", client.ReferenceKindConcept, func() ([]byte, error) {
		p, _ := props.ByCode(code)
		return p.Concept(remarks)
	}}
}

var (
	scaleSheet    = reference{"scale/harbour.png", client.ReferenceKindScale, func() ([]byte, error) { return props.Scale(props.Harbour()) }}
	materialSheet = reference{"materials/harbour.png", client.ReferenceKindMaterialBoard, props.Materials}
)

var orders = []order{
	{code: "QUAY-01", title: "Quay furniture, first batch", vendor: "Brackwater Props", currency: "EUR", looked: true,
		references: []reference{
			concept("bollard", props.Remark{At: [3]float64{-0.12, 0.69, 0.1}, Text: "Crown worn bright by ropes"}, props.Remark{At: [3]float64{0.1, 0.30, 0.115}, Text: "Waist kept slim: a hawser lies here"}, props.Remark{At: [3]float64{0.05, 0.03, 0.25}, Text: "Rust climbs from the foot"}),
			concept("lantern", props.Remark{At: [3]float64{0.05, 0.305, 0.05}, Text: "Signal red, flaking on the hood"}, props.Remark{At: [3]float64{0.02, 0.17, 0.055}, Text: "Lens milky with salt"}, props.Remark{At: [3]float64{0.04, 0.05, 0.066}, Text: "Foot sits flush on the pile"}),
			scaleSheet, materialSheet,
		},
		props: []ordered{
			{"bollard", "Mooring bollard", "mid", 42_000, 12, []round{
				{fault: props.Fault{Lumps: []props.Lump{
					{At: [3]float64{0.153, 0.30, 0.02}, Radius: 0.035, Height: 0.011},
					{At: [3]float64{-0.10, 0.26, -0.115}, Radius: 0.02, Height: 0.007},
				}}, note: "First pass. The weld seam came out a little strong.", verdict: "fail", headlineHas: "stand",
					pin:    &pin{part: "body", at: []float64{153, 300, 20}, normal: []float64{0.99, 0, 0.13}, text: "The hawser would catch here: grind this bead flush with the waist."},
					decide: "return", reason: "The weld beads stand through the game surface; see the ringed places."},
				{note: "Beads ground down, nothing else moved.", verdict: "pass", decide: "accept"},
				{milestone: client.Maps, fault: props.Fault{Green: true}, note: "All maps, baked overnight.", verdict: "fail", headlineHas: "when green is flipped",
					decide: "return", reason: "Green points down in the normal map; the order has it up."},
				{milestone: client.Maps, note: "Normal map exported again, green up.", verdict: "pass", decide: "accept"},
			}},
			{"lantern", "Pier lantern", "hero", 118_000, 19, []round{
				{note: "Ready for review.", verdict: "pass"},
			}},
			{"ladder", "Quay ladder", "mid", 36_000, 30, nil},
		}},
	{code: "YARD-01", title: "Salvage yard, first batch", vendor: "Ninth Lock Workshop", currency: "EUR",
		references: []reference{
			concept("capstan", props.Remark{At: [3]float64{0.1, 0.58, 0.18}, Text: "Head dished by use"}, props.Remark{At: [3]float64{0, 0.28, 0.2}, Text: "Whelps cast, not bolted on"}, props.Remark{At: [3]float64{0.05, 0.03, 0.26}, Text: "Base plate as on the bollard"}),
			scaleSheet, materialSheet,
		},
		props: []ordered{
			{"crate", "Fish crate", "mid", 31_000, 9, []round{
				{fault: props.Fault{Scale: 100}, note: "Fish crate, game mesh.", verdict: "fail", headlineHas: "100 times too big",
					decide: "return", reason: "The file is in centimetres."},
			}},
			{"buoy", "Channel buoy", "mid", 47_000, 14, []round{
				{fault: props.Fault{Density: 0.55, Finer: 2, Rename: map[string]string{"mast": "Cylinder.003"}}, note: "Buoy, all parts.", verdict: "fail", headlineHas: "issues"},
			}},
			{"capstan", "Warping capstan", "mid", 64_000, 16, []round{
				{fault: props.Fault{Truncate: 300_000}, note: "Upload from the workshop's old machine.", verdict: "fail", headlineHas: "cut off",
					decide: "return", reason: "The game mesh arrived cut off; please send it again."},
			}},
		},
		batch: &batch{"Yard, second try", []batched{
			{"crate", 2, round{note: "In metres now.", verdict: "pass", decide: "accept"}},
			{"capstan", 2, round{note: "Sent again from the office. The whelps took more loops than we were given.", verdict: "fail", headlineHas: "triangles",
				concede: "budget.triangles", decide: "accept", reason: "The whelps need those loops, and the yard holds two capstans in all."}},
		}},
	},
}

//go:embed specs/*.yaml
var specs embed.FS
