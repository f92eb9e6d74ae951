package spec

// Spec is a spec with everything it inherits resolved: what one delivery is judged by.
type Spec struct {
	Prop      string // code
	Title     string
	Tier      Tier
	Milestone Milestone // of the delivery being judged

	Digest string // SHA-256 of the resolved spec's canonical JSON, hex

	Conventions Conventions
	View        View
	SizeMM      *[3]float64 // contracted bounding box x, y, z
	Parts       []Part      // in order; the first whose pattern matches a node or material wins
	Sets        []Set
	Files       []FileRule // what a delivery must hold and how roles are told from names
	Requires    []string   // roles that must be there at this milestone

	Annotations []Annotation // what a vendor may say of a node by the end of its name

	needed    map[string]Milestone // roles that must be there, and from when on
	rules     map[string]Rule      // by check, for the whole prop, milestone not yet applied
	catalogue Catalogue            // in the order of a report
	origins   map[string]string    // of everything but rules, by path: "conventions.green"
}

// Annotation is a statement about a node by the end of its name: "bolt_floater" is a floater. Confirmed is read for
// annotations that the studio is asked about: patterns over node names for which it said yes.
type Annotation struct {
	Suffix    string
	Who       Who
	Keys      Part // the keys that it sets; zero fields leave the part's own
	Confirmed []string
}

// Who says who may make a statement that takes surface out of a check.
type Who string

// Who may annotate.
const (
	Free     Who = "free"      // the vendor, by name suffix
	Ask      Who = "ask"       // the vendor asks, the studio confirms
	SpecOnly Who = "spec_only" // the spec alone: a suffix is not heard
)

// Plane is where open edges are meant: points p with normal · p = offset, within a tolerance. World axes, millimetres.
type Plane struct {
	Normal   [3]float64 `json:"normal"`
	OffsetMM float64    `json:"offset_mm"`
	TolMM    float64    `json:"tol_mm"`
}

// Conventions are what the studio's pipeline assumes.
type Conventions struct {
	Unit     string              // of the source files: "m"
	Up       string              // "+Y"
	Forward  string              // "+Z"
	Green    string              // "up" or "down", of shipped normal maps
	Packing  map[string][]string // by map name, what its channels mean in the order R, G, B, A
	Hug      string              // "outside" or "centred"
	Look     string              // "realistic" or "stylised"
	Mirror   string              // "x" or "none": plane the prop was built by mirroring over
	WeldMM   float64
	Cage     string // "mesh", "averaged" or "hard"
	ReachMM  *Reach // nil: the tier's default share of the diagonal
	OriginMM *[3]float64
	OriginAt string // "base_centre", "centre" or "point"
}

// Reach is how far projection looks along the cage's direction, both ways.
type Reach struct{ FrontMM, BackMM float64 }

// View says where the camera may be.
type View struct {
	Placed      string  // "ground", "wall", "ceiling", "hand" or "free"
	DistanceM   float64 // of the closest camera
	FOVDeg      float64 // vertical
	ScreenLines int
}

// Part is one part of the prop and how the checks are to take it.
type Part struct {
	Name     string
	Kind     PartKind
	Match    []string // patterns over node and material names
	Open     []string // places whose open edges are meant: "below", "back", "ends"
	OpenAt   []Plane  // planes in which open edges are meant
	TwoSided string   // "material", "geometry" or "no"
	Sculpt   []string // patterns of sculpt nodes; empty: by pairing; "none": has no sculpt; "shared"
	ReachMM  *Reach
	Density  float64 // factor on the density target, 1 unless said
	// NoDensity is set in what a name suffix says where it leaves the density out: 0 says nothing there.
	NoDensity bool `json:",omitempty"`
	MayCross  []string
	Mirror    string
	Pivot     string   // what a moving part turns on: "hinge", "slide" or "none"
	Poses     []string // names of the poses it is looked at in
	By        string   // who said so: "spec", or "name suffix" where the vendor's annotation did
	Rules     map[string]Rule
}

// Set is one texture set.
type Set struct {
	Name         string
	Kind         SetKind
	Match        []string // patterns over material names
	AuthorPx     int
	ShipPx       int
	ReferenceMap string // which map's size counts for density
	Green        string
	Channels     map[string][]string // as Conventions.Packing, for this set
	Stack        string              // "any", "none", "mirrored" or "copies"
	Alpha        string              // "none", "mask" or "blend"
	Tiles        []int
	TilePx       map[int]int // edge in pixels of tiles that differ from ShipPx
	Rules        map[string]Rule
}

// FileRule tells a role from a file's name.
type FileRule struct {
	Role    string
	Pattern string // with tokens such as {prop} {part} {lod} {map} {set}
	Node    bool   // the pattern is over node names inside a file
	From    Milestone
	Needed  bool
	Origin  string // "spec line 12", "default"
}
