package acceptance

import (
	"context"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// build reads a delivery's files and sorts what they hold into bodies, parts and sets.
func build(ctx context.Context, sp *spec.Spec, folder string, files []*File, threads int, progress func(string, float64)) (*Subject, []Exempt, []Question, error) {
	s := &Subject{Spec: sp, Folder: folder, Files: files, Threads: threads}
	if s.Threads < 1 {
		s.Threads = runtime.GOMAXPROCS(0)
	}
	if err := loadFiles(ctx, s, progress); err != nil {
		return nil, nil, nil, err
	}
	roles, err := newRoleTable(sp)
	if err != nil {
		return nil, nil, nil, err
	}
	confirmed, err := confirmations(sp)
	if err != nil {
		return nil, nil, nil, err
	}
	byRole := map[string][]*piece{}
	for _, f := range files {
		if f.Scene == nil || !geometryRole(f.Role) {
			continue
		}
		for _, p := range piecesOf(f, roles, sp.Annotations, confirmed) {
			byRole[p.role] = append(byRole[p.role], p)
		}
	}
	table, err := newPartTable(sp)
	if err != nil {
		return nil, nil, nil, err
	}
	table.addGame(byRole["game"])
	table.pair(byRole["sculpt"], byRole["cage"])
	progress("sorting the parts", 1)
	variants := table.all()
	fillBodies(s, byRole, variants)
	questions, err := fillSets(s, byRole["game"], variants)
	if err != nil {
		return nil, nil, nil, err
	}
	return s, exemptions(s, variants), questions, nil
}

func confirmations(sp *spec.Spec) (map[string]spec.Patterns, error) {
	tokens := sp.Tokens()
	tokens.Fold = true
	out := map[string]spec.Patterns{}
	for _, a := range sp.Annotations {
		ps, err := spec.CompilePatterns(a.Confirmed, tokens)
		if err != nil {
			return nil, err
		}
		out[a.Suffix] = ps
	}
	return out, nil
}

// loadFiles reads geometry and the headers of images, a few files at a time; each file's result is its own, so the
// order in which they finish does not matter.
func loadFiles(ctx context.Context, s *Subject, progress func(string, float64)) error {
	names := make([]string, len(s.Files))
	for i, f := range s.Files {
		names[i] = f.Path
	}
	src, err := mesh.DirSource(s.Folder, names)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrDelivery, err)
	}
	defer src.Close()
	var mu sync.Mutex
	done := 0
	inParallel(s.Threads, len(s.Files), func(i int) {
		f := s.Files[i]
		if ctx.Err() != nil || f.SHA256 == "" {
			return
		}
		loadFile(src, f)
		mu.Lock()
		defer mu.Unlock()
		done++
		progress("reading "+f.Path, float64(done)/float64(len(s.Files)))
	})
	return ctx.Err()
}

// loadFile reads one file. A panic of a reader is that file's "cannot be read" and nobody else's.
func loadFile(src mesh.Source, f *File) {
	defer func() {
		if p := recover(); p != nil {
			f.Scene = nil
			f.Issues = append(f.Issues, mesh.Issue{Code: "container.reader_failed", Path: f.Path, Offset: -1, Undecoded: true,
				Message: fmt.Sprintf("The reader stopped on a fault of its own (%v), so the file is not judged.", p)})
		}
	}()
	switch {
	case geometryRole(f.Role) || f.Role == "other" && isGeometry(f.Path):
		scene, issues := mesh.Load(src, f.Path, mesh.Limits{})
		f.Scene = scene
		f.Issues = append(f.Issues, issues...)
	case isImage(f.Path) && f.Role != "reference" && f.Role != "other":
		readImageHeader(src, f)
	}
}

// inParallel calls do for 0..n-1 on a few goroutines and waits.
func inParallel(threads, n int, do func(i int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range min(max(threads, 1), max(n, 1)) {
		wg.Go(func() {
			for i := range next {
				do(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// fillBodies makes the surfaces of each role and the parts' shares of them. A body holds the pieces of one part after
// those of another, so that a part's surface is a piece of its body's arrays and not a copy.
func fillBodies(s *Subject, byRole map[string][]*piece, variants []*variant) {
	var game, sculpt, floaters, cage [][]*piece
	for _, v := range variants {
		game, sculpt = append(game, v.game), append(sculpt, v.sculpt)
		floaters, cage = append(floaters, v.floaters), append(cage, v.cage)
	}
	lods := 0
	for role := range byRole {
		if n, ok := lodOf(role); ok {
			lods = max(lods, n+1)
		}
	}
	s.LODs = make([]*Body, lods)
	for i := range s.LODs {
		s.LODs[i] = &Body{}
	}
	gameBody, gameParts := bodyOf(byRole["game"], game)
	if lods > 0 {
		s.LODs[0] = gameBody
	}
	for i := 1; i < lods; i++ {
		s.LODs[i], _ = bodyOf(byRole[fmt.Sprintf("game.lod%d", i)], nil)
	}
	n := len(variants)
	sculptBody, sculptParts := bodyOf(byRole["sculpt"], append(sculpt, floaters...))
	cageBody, cageParts := bodyOf(byRole["cage"], cage)
	if len(byRole["sculpt"]) > 0 {
		s.Sculpt = sculptBody
	}
	if len(byRole["cage"]) > 0 {
		s.Cage = cageBody
	}
	if len(byRole["collision"]) > 0 {
		s.Hulls, _ = bodyOf(byRole["collision"], nil)
	}
	total := 0.0
	for i, v := range variants {
		p := &Part{Name: v.name, Def: v.def, Game: gameParts[i], Sculpt: sculptParts[i], Floaters: sculptParts[n+i], Cage: cageParts[i]}
		p.DiagonalMM = diagonalMM(&p.Game)
		p.AreaShare = areaM2(&p.Game)
		total += p.AreaShare
		s.Parts = append(s.Parts, p)
	}
	for _, p := range s.Parts {
		if total > 0 {
			p.AreaShare /= total
		}
	}
}

// bodyOf flattens pieces into one surface: those of each group first, in order, then what is in none. It returns the
// surface of each group beside the whole; a piece that several groups share is copied for the later ones.
func bodyOf(pieces []*piece, groups [][]*piece) (*Body, []mesh.Surface) {
	var ordered []*piece
	placed := map[*piece]bool{}
	first := make([]int, len(groups))
	shared := make([]bool, len(groups))
	for i, g := range groups {
		first[i] = len(ordered)
		for _, p := range g {
			shared[i] = shared[i] || placed[p]
		}
		if shared[i] {
			continue
		}
		for _, p := range g {
			placed[p] = true
			ordered = append(ordered, p)
		}
	}
	for _, p := range pieces {
		if !placed[p] {
			ordered = append(ordered, p)
		}
	}
	b := &Body{Surface: flattenPieces(ordered)}
	for _, p := range ordered {
		if !slices.Contains(b.Files, p.file) {
			b.Files = append(b.Files, p.file)
		}
	}
	parts := make([]mesh.Surface, len(groups))
	for i, g := range groups {
		switch {
		case len(g) == 0:
		case shared[i]:
			parts[i] = flattenPieces(g)
		case len(g) == len(ordered):
			parts[i] = b.Surface
		default:
			parts[i] = window(&b.Surface, first[i], first[i]+len(g))
		}
	}
	return b, parts
}

// flattenPieces flattens runs of pieces of one scene at a time and joins them in order.
func flattenPieces(pieces []*piece) mesh.Surface {
	var runs []mesh.Surface
	for i := 0; i < len(pieces); {
		j := i
		var draws []mesh.Draw
		for ; j < len(pieces) && pieces[j].file == pieces[i].file; j++ {
			draws = append(draws, pieces[j].draw)
		}
		runs = append(runs, mesh.Flatten(pieces[i].file.Scene, draws))
		i = j
	}
	if len(runs) == 1 {
		return runs[0]
	}
	return joined(runs)
}

// joined puts surfaces behind each other.
func joined(runs []mesh.Surface) mesh.Surface {
	var out mesh.Surface
	for _, r := range runs {
		out.Append(r)
	}
	return out
}

func shifted(r mesh.Range, triangles, vertices int) mesh.Range {
	r.First, r.End = r.First+triangles, r.End+triangles
	r.VFirst, r.VEnd = r.VFirst+vertices, r.VEnd+vertices
	return r
}

// window is the surface of draws [first, end) of a larger one. Vertices are shared with it, indices are its own.
func window(s *mesh.Surface, first, end int) mesh.Surface {
	if first >= end || end > len(s.Of) {
		return mesh.Surface{}
	}
	vFirst, vEnd := s.Of[first].VFirst, s.Of[end-1].VEnd
	tFirst, tEnd := s.Of[first].First, s.Of[end-1].End
	out := mesh.Surface{Pos: cut(s.Pos, 3*vFirst, 3*vEnd), Nrm: cut(s.Nrm, 3*vFirst, 3*vEnd), UV: cut(s.UV, 2*vFirst, 2*vEnd)}
	out.Tri = make([]uint32, 3*(tEnd-tFirst))
	for i, v := range s.Tri[3*tFirst : 3*tEnd] {
		out.Tri[i] = v - uint32(vFirst)
	}
	for _, of := range s.Of[first:end] {
		out.Of = append(out.Of, shifted(of, -tFirst, -vFirst))
	}
	return out
}

func cut(v []float32, first, end int) []float32 {
	if len(v) < end {
		return nil
	}
	return v[first:end:end]
}

// subset copies the draws of a surface for which keep is true.
func subset(s *mesh.Surface, keep func(mesh.Range) bool) mesh.Surface {
	var runs []mesh.Surface
	for i, of := range s.Of {
		if keep(of) {
			runs = append(runs, window(s, i, i+1))
		}
	}
	return joined(runs)
}

// areaM2 is a surface's area in square metres.
func areaM2(s *mesh.Surface) float64 {
	sum := 0.0
	for t := 0; t+2 < len(s.Tri); t += 3 {
		a, b, c := point(s.Pos, s.Tri[t]), point(s.Pos, s.Tri[t+1]), point(s.Pos, s.Tri[t+2])
		sum += float64(0.5 * math.Sqrt(lenSq(cross(sub(b, a), sub(c, a)))))
	}
	return sum
}

// diagonalMM is the diagonal of the bounding box of what a surface's triangles use, in millimetres.
func diagonalMM(s *mesh.Surface) float64 {
	lo, hi, ok := boundsOf(s, []mesh.Range{{First: 0, End: s.Triangles()}})
	if !ok {
		return 0
	}
	return 1000 * math.Sqrt(lenSq(sub(hi, lo)))
}
