// Package spec is the contract of one prop: what a delivery must hold and the limit of every check.
//
// A spec is a YAML or JSON document of its own with one JSON Schema. The package knows no check by name: the
// checks describe themselves in a Catalogue, from which the schema, the presets and the explanation are made.
package spec

// Tier is how close the camera comes. It picks the defaults.
type Tier string

// The four tiers, far to near.
const (
	Background Tier = "background"
	MidGround  Tier = "mid"
	Hero       Tier = "hero"
	CloseUp    Tier = "close_up"
)

// Tiers lists the tiers in the order in which ByTier holds its values.
var Tiers = [4]Tier{Background, MidGround, Hero, CloseUp}

// ByTier holds one value for each of Tiers.
type ByTier [4]float64

// Mode says what breaking a limit leads to.
type Mode string

// The modes of a rule.
const (
	Blocks  Mode = "blocks"         // a nonconformity: the verdict is fail
	Warns   Mode = "warns"          // shown, does not fail the delivery
	Reports Mode = "reports"        // measured, no limit applied
	NotAppl Mode = "not_applicable" // by the spec, with its reason
)

// Milestone is a stage of a prop's making; a check counts from one of them on.
type Milestone string

// The milestones in their order.
const (
	BlockOut Milestone = "block_out"
	Sculpt   Milestone = "sculpt"
	GameMesh Milestone = "game_mesh"
	Maps     Milestone = "maps"
	Final    Milestone = "final"
)

// Milestones in order.
var Milestones = [5]Milestone{BlockOut, Sculpt, GameMesh, Maps, Final}

// LimitKind says how a limit binds.
type LimitKind string

// The kinds of limit.
const (
	AtMost  LimitKind = "at_most"
	AtLeast LimitKind = "at_least"
	Target  LimitKind = "target" // a value that other limits are read against
	Option  LimitKind = "option" // a word out of a list
)

// Limit describes one limit of a check. Its key carries the unit ("max_height_mm").
type Limit struct {
	Key     string
	Kind    LimitKind
	Unit    string // "mm", "share", "px", "count", "deg", "bytes", "px/m", ""
	Default ByTier
	Words   []string // for Option: the words allowed, the first is the default
	What    string   // one sentence
	Origin  string   // a published source, or CommonPractice
	// Optional limits are off until a spec sets them.
	Optional bool
	// List limits take a list of words or numbers (a size, a pattern list) instead of one. It is a list of numbers
	// where Kind is not Option, of Words where there are any, else of free texts.
	List bool
	// DefaultList is what a list limit holds unless the spec says otherwise.
	DefaultList []string
	// Pattern says that the texts of a list limit are name patterns: see CompilePattern. They are compiled when a spec is read.
	Pattern bool
}

// CommonPractice marks a limit of the trade that no published source backs.
const CommonPractice = "common practice, no source"

// Scope says what one finding of a check is about.
type Scope string

// The scopes of a check.
const (
	PerDelivery Scope = "delivery"
	PerFile     Scope = "file"
	PerLOD      Scope = "lod"
	PerPart     Scope = "part"
	PerSet      Scope = "set"

	// PerPartAndLOD is LOD 0 part by part, and each further LOD as a whole.
	PerPartAndLOD Scope = "part_and_lod"
)

// Check describes one check: what the spec, its schema, its explanation and the docs need to know of it.
type Check struct {
	Name   string // "uv.texel_density"
	Scope  Scope
	Title  string // a few words, for tables
	What   string // what is measured, one sentence
	Why    string // why it matters in the engine or the bake, one sentence
	Source string // published source, or CommonPractice
	Limits []Limit
	Mode   [4]Mode     // by tier: what breaking it leads to unless the spec says otherwise
	From   []Milestone // milestones at which it counts; at others it only reports
	// PartKinds and SetKinds to which the check does not apply, with the reason given in the finding.
	NotForPart map[PartKind]string
	NotForSet  map[SetKind]string
	Metrics    []string // names of the metrics a finding carries, in order
}

// Catalogue is every check there is, in the order of a report.
type Catalogue []Check

// PartKind says what a part of the prop is.
type PartKind string

// The part kinds.
const (
	Solid     PartKind = "solid"
	Sheet     PartKind = "sheet"
	Card      PartKind = "card"
	Floater   PartKind = "floater"
	Decal     PartKind = "decal"
	Glass     PartKind = "glass"
	Moving    PartKind = "moving"
	Interior  PartKind = "interior"
	Rope      PartKind = "rope"
	Helper    PartKind = "helper"
	Collision PartKind = "collision"
	CagePart  PartKind = "cage"
)

// SetKind says what a texture set is.
type SetKind string

// The set kinds.
const (
	Baked      SetKind = "baked"
	Tiling     SetKind = "tiling"
	Trim       SetKind = "trim"
	DecalAtlas SetKind = "decal_atlas"
	Shared     SetKind = "shared"
	UDIM       SetKind = "udim"
)

// Rule is one check's limits as they are in force for one delivery, part or set.
type Rule struct {
	Check   string
	Mode    Mode
	Reason  string             // why not_applicable
	Numbers map[string]float64 // by limit key; an absent key is an optional limit that is off
	Words   map[string]string
	Lists   map[string][]string
	Origins map[string]string // by limit key, and "mode", "from": "preset hero (common practice, no source)", "spec line 14", "parent yard-kit@3 line 8"

	From       []Milestone // milestones at which it counts; nil: at all of them
	CountsFrom []Milestone // set where the delivery's milestone is none of From: the rule only reports, and counts at these
}

// Num returns a limit and whether it is on.
func (r Rule) Num(key string) (float64, bool) { v, ok := r.Numbers[key]; return v, ok }
