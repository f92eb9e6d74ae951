package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// Check is one check of the catalogue. Run measures one target and returns one finding; it fills in Outcome, Sentence,
// Measured, Limit, Metrics, Labels, Where and Remedy. The engine fills in who, why and blocking, skips targets to which
// the check does not apply, and turns a panic into "not evaluated".
type Check struct {
	Def spec.Check
	Run func(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding
}

// Target is what one finding is about; which field is set depends on the check's scope. LOD is 0 where it does not matter.
type Target struct {
	File *File
	Part *Part
	Set  *Set
	LOD  int
}

// Subject is one delivery as read from disk: what every check looks at. It is read-only once built, except for the
// measurements that one check leaves for another, each behind a sync.Once of its own.
type Subject struct {
	Spec    *spec.Spec
	Folder  string // the delivery's folder; every path below is relative to it
	Files   []*File
	LODs    []*Body // game mesh by LOD, LOD 0 first; empty where no game mesh could be read
	Sculpt  *Body   // nil where none was delivered
	Cage    *Body
	Hulls   *Body // collision
	Parts   []*Part
	Sets    []*Set
	Threads int

	content     []Content // what is delivered, as it came
	previous    *Evidence // of the delivery before; nil for the first
	previousRef *Previous
	known       map[string][]Finding // by family: not measured again
	found       []Finding            // what the checks before this one found: for revision.*, which come last

	keepBake bool // leave our own bakes as pictures

	mended mend // what rootCause did to the game mesh; the zero value is nothing
}

// File is one delivered file.
type File struct {
	Path     string // as in the manifest, with forward slashes
	Abs      string // where it lies on this disk
	Role     string // "game", "game.lod1", "sculpt", "cage", "collision", "map.normal", "other", …
	Set      string // for maps with a set in their role
	Part     string // where the file's name tells a part
	Bytes    int64
	SHA256   string // hex, of what arrived
	Declared struct {
		SHA256 string // "" where the manifest names none
		Bytes  int64  // -1 where the manifest names none
	}
	WidthPx  int // of an image outside geometry files, from its header; 0 where it has none that could be read
	HeightPx int
	Scene    *mesh.Scene // nil where it is no geometry or could not be read
	Issues   []mesh.Issue
}

// Body is the surface of one role, over all its files.
type Body struct {
	mesh.Surface
	Files []*File

	topo *topoMeasure // what the topology checks measured (topology.go)
}

// Part is one part of the prop: the pieces of the game mesh, sculpt and cage that belong together. A spec without
// parts has one, with an empty name.
type Part struct {
	Name       string
	Def        spec.Part
	Game       mesh.Surface // LOD 0
	Sculpt     mesh.Surface // paired sculpt, floaters left out
	Floaters   mesh.Surface // sculpt pieces that hover over the surface on purpose
	Cage       mesh.Surface
	DiagonalMM float64 // of Game's bounding box
	AreaShare  float64 // of the prop's game surface at LOD 0

	surface surfaceMeasure // what the surface checks measured, computed once (surface.go)
}

// Set is one texture set.
type Set struct {
	Name      string
	Def       spec.Set
	Game      mesh.Surface     // triangles of LOD 0 that use it
	Materials []string         // names of the materials
	Maps      map[string]*File // by map name: "normal", "base_color", …; delivered files
	WidthPx   int              // of the reference map at ship size; 0 where no map says and the spec neither
	HeightPx  int
	SizeFrom  words.Phrase // where the size comes from, for the finding: "spec ship_px", "material crate, base colour", …

	memo *uvMemo // layouts measured of it (uvlayout.go); nil: measured anew each time

	maps *mapsMeasure // what the map checks measured (maps.go); nil: measured anew each time

	bakes *bakeMeasure // its normal maps held against our own bake (mapsrebake_measure.go)
}
