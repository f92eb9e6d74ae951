package tangent

// edge is a face's side, its ends in rising order.
type edge struct {
	key    [3]uint32 // lower end, upper end, face
	corner uint8     // the side runs from this corner to the next
	up     bool      // it runs from the lower end to the upper one
}

// joinFaces pairs faces along edges that they run through in opposite directions. Where several could pair, the lower
// numbers go together.
func joinFaces(faces []face) {
	edges := make([]edge, 0, 3*len(faces))
	for i := range faces {
		for k := range 3 {
			a, b := faces[i].rep[k], faces[i].rep[(k+1)%3]
			edges = append(edges, edge{[3]uint32{min(a, b), max(a, b), uint32(i)}, uint8(k), a < b})
		}
	}
	sortEdges(edges)
	for i, a := range edges {
		if faces[a.key[2]].over[a.corner] >= 0 {
			continue
		}
		for _, b := range edges[i+1:] {
			if b.key[0] != a.key[0] || b.key[1] != a.key[1] {
				break
			}
			if b.up != a.up && faces[b.key[2]].over[b.corner] < 0 {
				faces[a.key[2]].over[a.corner], faces[b.key[2]].over[b.corner] = int32(b.key[2]), int32(a.key[2])
				break
			}
		}
	}
}

// sortEdges orders edges by lower end, upper end and face as the reference does: by its own quicksort, key by key, each run of
// equal keys sorted by the next one only once another run begins. The last run so stays as the sort before left it, and
// neighbours that do not lie side by side there are not joined. This shows at one vertex of a mesh; equal tangents need it.
func sortEdges(edges []edge) {
	sortByKey(edges, 0, sortSeed)
	for key := 1; key <= 2; key++ {
		from := 0
		for i := 1; i < len(edges); i++ {
			if edges[i].key[0] != edges[from].key[0] || key == 2 && edges[i].key[1] != edges[from].key[1] {
				sortByKey(edges[from:i], key, sortSeed)
				from = i
			}
		}
	}
}

// sortSeed and the step in sortByKey are the reference's.
const sortSeed = 39871946

func sortByKey(e []edge, key int, seed uint32) {
	for len(e) > 2 {
		t := seed & 31
		t = seed<<t | seed>>((32-t)&31)
		seed += t + 3
		middle := e[seed%uint32(len(e))].key[key]
		l, r := 0, len(e)-1
		for {
			for e[l].key[key] < middle {
				l++
			}
			for e[r].key[key] > middle {
				r--
			}
			if l <= r {
				e[l], e[r] = e[r], e[l]
				l++
				r--
			}
			if l > r {
				break
			}
		}
		if r > 0 {
			sortByKey(e[:r+1], key, seed)
		}
		if l >= len(e)-1 {
			return
		}
		e = e[l:]
	}
	if len(e) == 2 && e[0].key[key] > e[1].key[key] {
		e[0], e[1] = e[1], e[0]
	}
}
