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
	decide      string // the art director's decision, "" for none yet
	reason      string
}

var orders = []order{
	{"QUAY-01", "Quay furniture, first batch", "Brackwater Props", "EUR", []ordered{
		{"bollard", "Mooring bollard", "mid", 42_000, 12, []round{
			{fault: props.Fault{Lumps: []props.Lump{
				{At: [3]float64{0.153, 0.30, 0.02}, Radius: 0.035, Height: 0.011},
				{At: [3]float64{-0.10, 0.26, -0.115}, Radius: 0.02, Height: 0.007},
			}}, note: "First pass. The weld seam came out a little strong.", verdict: "fail", headlineHas: "stand",
				decide: "return", reason: "The weld beads stand through the game surface; see the ringed places."},
			{note: "Beads ground down, nothing else moved.", verdict: "pass", decide: "accept"},
			{milestone: client.Maps, fault: props.Fault{Green: true}, note: "All maps, baked overnight.", verdict: "fail", headlineHas: "when green is flipped"},
		}},
		{"lantern", "Pier lantern", "hero", 118_000, 19, []round{
			{note: "Ready for review.", verdict: "pass"},
		}},
		{"ladder", "Quay ladder", "mid", 36_000, 30, nil},
	}},
	{"YARD-01", "Salvage yard, first batch", "Ninth Lock Workshop", "EUR", []ordered{
		{"crate", "Fish crate", "mid", 31_000, 9, []round{
			{fault: props.Fault{Scale: 100}, note: "Fish crate, game mesh.", verdict: "fail", headlineHas: "100 times too big"},
		}},
		{"buoy", "Channel buoy", "mid", 47_000, 14, []round{
			{fault: props.Fault{Density: 0.55, Finer: 2, Rename: map[string]string{"mast": "Cylinder.003"}}, note: "Buoy, all parts.", verdict: "fail", headlineHas: "issues"},
		}},
		{"capstan", "Warping capstan", "mid", 64_000, 16, []round{
			{fault: props.Fault{Truncate: 300_000}, note: "Upload from the workshop's old machine.", verdict: "fail", headlineHas: "cut off"},
		}},
	}},
}

//go:embed specs/*.yaml
var specs embed.FS
