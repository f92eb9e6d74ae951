package surface

import (
	"context"
	"math"
	"runtime"
	"sync"

	"proofhouse/internal/acceptance/spatial"
)

// Mesh is a triangle surface. Vertices may repeat; triangles may be degenerate; coordinates that are not finite are left out.
type Mesh struct {
	Pos []float32 // 3 a vertex, metres
	UV  []float32 // 2 a vertex, of the game surface only; nil for none
	Tri []uint32  // 3 a triangle
}

// Triangles returns the number of triangles.
func (m Mesh) Triangles() int { return len(m.Tri) / 3 }

// Options says how a pair is to be taken.
type Options struct {
	Threads int // below 1 means all cores; never changes a result

	// Open are the sides on which the game surface is meant to be open: sculpt that faces them has no partner and is
	// left out, and borders there are no fault.
	Open []OpenSide

	// Share is the part's share of the prop's surface: a prop of many parts gets as many samples in all as one of one part. 0 means 1.
	Share float64

	// PixelMM is the size of a pixel at the distance from which the prop is seen: outlines are looked at no finer than
	// half of it at first. 0 for as fine as the grid allows.
	PixelMM float64

	// MirrorX is where the mirror plane stands, metres. Left is above it.
	MirrorX float64

	// SetOf gives the texture set that a triangle of the game surface is baked into, below zero where it is not baked.
	// Nil: all are one set.
	SetOf func(triangle int) int
}

// OpenSide is a plane in which borders are meant: points p with Normal · p = Offset, within Tol. Metres. Which way the
// normal points does not matter: outward is away from the middle of the part.
type OpenSide struct {
	Normal      [3]float64
	Offset, Tol float64
}

// openShare of the diagonal is how far from a side that is declared open by its name a border may lie and still be meant.
const openShare = 0.01

// OpenTo is the side of game that lies farthest in one direction, for sides declared open by name.
func OpenTo(game Mesh, direction [3]float64) OpenSide {
	o := OpenSide{Normal: direction, Offset: math.Inf(-1), Tol: openShare * boundsOf(game).diagonal()}
	for _, v := range game.Tri {
		if q := at(game.Pos, v); finite(q) {
			o.Offset = max(o.Offset, dot(q, direction))
		}
	}
	return o
}

// Pair is the game surface of one part and the sculpt it is compared with. Its measures are made when first asked for
// and kept; it is safe for concurrent use.
type Pair struct {
	game, sculpt Mesh
	opt          Options
	threads      int

	feetBack, feetReach int // samples of the game surface: gameSamples and reachSamples, fewer in tests

	diagonal float64    // of the game surface's bounding box, metres
	noise    float64    // metres: heights below it are rounding
	bounds   box        // of the game surface
	open     []OpenSide // outward, normals of unit length

	prepare sync.Once
	skin    *skin
	onGame  *spatial.Tree // over skin

	treeMu   sync.Mutex
	onSculpt *spatial.Tree

	shellOnce sync.Once
	shells    *shells

	heightOnce sync.Once
	heights    *Heights
	heightErr  error

	outsideMu    sync.Mutex
	outsides     map[[2]float64]*Outside // by limit and level
	firstOutside *Outside

	silhouetteMu    sync.Mutex
	silhouettes     map[silhouetteKey]*Silhouette
	firstSilhouette *Silhouette

	deviationOnce sync.Once
	deviation     *Deviation
	deviationErr  error

	heatOnce sync.Once
	heat     *Heat
	heatErr  error
}

// noiseShare of the coordinates' size is taken as rounding. Positions are float32: half a unit in the last place is
// 2^-24 of the coordinate; a nearest point in space adds up to eight such roundings. Twice as much would hide
// outward bumps of a quarter of a micrometre per metre more.
const noiseShare = 0x1p-21

// leastSamples are taken of any part, however small its share of the prop.
const leastSamples = 20_000

// NewPair readies a comparison; nothing is measured yet. The surfaces are kept and must not change.
func NewPair(game, sculpt Mesh, opt Options) *Pair {
	p := &Pair{game: game, sculpt: sculpt, opt: opt, threads: threadsOf(opt.Threads), bounds: boundsOf(game),
		feetBack: gameSamples, feetReach: reachSamples}
	if opt.Share > 0 && opt.Share < 1 {
		p.feetBack, p.feetReach = max(int(gameSamples*opt.Share), leastSamples), max(int(reachSamples*opt.Share), leastSamples)
	}
	p.diagonal = p.bounds.diagonal()
	for _, o := range opt.Open {
		if l := length(o.Normal); l > 0 {
			o.Normal, o.Offset = scale(o.Normal, 1/l), o.Offset/l
			if dot(p.bounds.middle(), o.Normal) > o.Offset {
				o.Normal, o.Offset = scale(o.Normal, -1), -o.Offset
			}
			p.open = append(p.open, o)
		}
	}
	if !p.bounds.empty() {
		var reach float64
		for k := range 3 {
			reach = max(reach, -p.bounds.lo[k], p.bounds.hi[k])
		}
		p.noise = reach * noiseShare
	}
	return p
}

// DiagonalMM is the length of the diagonal of the game surface's bounding box.
func (p *Pair) DiagonalMM() float64 { return 1000 * p.diagonal }

// Measurable says whether there is anything to compare: triangles with area on both sides.
func (p *Pair) Measurable() bool {
	p.ready()
	return len(p.skin.face) > 0 && p.sculpt.Triangles() > 0 && p.diagonal > 0
}

func (p *Pair) ready() {
	p.prepare.Do(func() {
		p.skin = newSkin(p.game.Pos, p.game.Tri)
		p.onGame = spatial.Build(p.skin.pos, p.skin.tri, p.threads)
	})
}

// sculptTree is built when a query needs it.
func (p *Pair) sculptTree() *spatial.Tree {
	p.treeMu.Lock()
	defer p.treeMu.Unlock()
	if p.onSculpt == nil {
		p.onSculpt = spatial.Build(p.sculpt.Pos, p.sculpt.Tri, p.threads)
		p.collect() // building takes half as much again as the tree itself
	}
	return p.onSculpt
}

// dropTree lets go of the sculpt's tree, its largest piece of working data: the next query builds it anew.
func (p *Pair) dropTree() {
	p.treeMu.Lock()
	defer p.treeMu.Unlock()
	dropped := p.onSculpt != nil
	p.onSculpt = nil
	if dropped {
		p.collect()
	}
}

// collect collects the garbage of a large sculpt at once: left to itself the collector would let the heap double before it looked.
// There is next to nothing to follow in arrays of numbers, so that it costs a few milliseconds.
func (p *Pair) collect() {
	const large = 1 << 20 // triangles
	if p.sculpt.Triangles() >= large {
		runtime.GC()
	}
}

// near asks for the nearest game surface of points, in pieces, each answered by visit with the piece's answers.
func (p *Pair) near(ctx context.Context, tree *spatial.Tree, points []float32, bound float32, visit func(worker, piece, first int, near []spatial.Near)) error {
	buffers := make([][]spatial.Near, p.threads)
	return eachPiece(ctx, len(points)/3, p.threads, func(worker, piece, first, end int) {
		if buffers[worker] == nil {
			buffers[worker] = make([]spatial.Near, pieceSize)
		}
		out := buffers[worker][:end-first]
		tree.Closest(points[3*first:3*end], bound, out, 1)
		visit(worker, piece, first, out)
	})
}
