package topo

// Loop is a run of border edges that follow each other. A run that ends at a tangled edge is not closed.
type Loop struct {
	Edges   []uint32 // half-edges in order
	Closed  bool
	LengthM float64
	Lo, Hi  [3]float64 // metres
	// Gap points out through the opening, as the faces that would close it: its length is the area of the flat part of the
	// opening, square metres (Stokes' theorem over the border).
	Gap [3]float64
}

// Loops lists the border loops, by their lowest half-edge. From a border edge the way goes on around its end through the
// faces there to the next border edge, so that loops which meet at a place stay apart.
func (s *Surface) Loops() []Loop {
	seen := make([]uint64, (len(s.Tri)+63)/64)
	was := func(h uint32) bool { return seen[h>>6]>>(h&63)&1 != 0 }
	var all []Loop
	for h := range uint32(len(s.Tri)) {
		if s.Mate[h] != Border || s.State[h/3] != Live || was(h) {
			continue
		}
		l := Loop{Lo: vec{inf, inf, inf}, Hi: vec{-inf, -inf, -inf}}
		walk := func(place uint32) (last uint32, closed bool) {
			last = h
			for {
				next, ok := s.around(last, place)
				if !ok {
					return last, false
				}
				if next == h {
					return last, true
				}
				if was(next) {
					return last, false
				}
				seen[next>>6] |= 1 << (next & 63)
				l.Edges = append(l.Edges, next)
				place = s.other(next, place)
				last = next
			}
		}
		seen[h>>6] |= 1 << (h & 63)
		l.Edges = append(l.Edges, h)
		_, l.Closed = walk(s.To(h))
		if !l.Closed { // the other way from the start
			for i, j := 0, len(l.Edges)-1; i < j; i, j = i+1, j-1 {
				l.Edges[i], l.Edges[j] = l.Edges[j], l.Edges[i]
			}
			walk(s.From(h))
		}
		s.measure(&l)
		all = append(all, l)
	}
	return all
}

// around goes from border half-edge h about its end at place to the border edge at the other side of the fan.
func (s *Surface) around(h, place uint32) (next uint32, ok bool) {
	for range len(s.Tri) { // a fan has no more faces than that
		// The other edge of the triangle at the place.
		g := Next(h)
		if s.From(g) != place && s.To(g) != place {
			g = Next(g)
		}
		m := s.Mate[g]
		switch m {
		case Border:
			return g, true
		case Tangled:
			return 0, false
		}
		h = uint32(m)
	}
	return 0, false
}

func (s *Surface) other(h, place uint32) uint32 {
	if s.From(h) == place {
		return s.To(h)
	}
	return s.From(h)
}

func (s *Surface) measure(l *Loop) {
	origin, _ := s.Ends(l.Edges[0])
	for _, h := range l.Edges {
		a, b := s.Ends(h)
		l.LengthM += length(sub(b, a))
		for k := range 3 {
			l.Lo[k], l.Hi[k] = min(l.Lo[k], a[k], b[k]), max(l.Hi[k], a[k], b[k])
		}
		// The surface lies to the left of its half-edges, so what would close it runs the other way round.
		l.Gap = sub(l.Gap, scale(cross(sub(a, origin), sub(b, origin)), 0.5))
	}
}
