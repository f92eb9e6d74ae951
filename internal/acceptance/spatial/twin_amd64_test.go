package spatial

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestKernelsEqualTheirTwins compares the assembly with its twins in Go bit by bit, on random and on odd boxes, leaves,
// rays and points.
func TestKernelsEqualTheirTwins(t *testing.T) {
	t.Parallel()
	if !wideLanes {
		t.Fatal("this processor lacks AVX2: the kernels cannot be compared")
	}
	rng := rand.New(rand.NewPCG(21, 22))
	for round := range 400 {
		odd := round%4 == 3
		l := randomLeaf(rng, odd)
		var got, want item
		boundLeafAVX2(&l, &got)
		boundLeafGo(&l, &want)
		require.Equal(t, plain(want), plain(got))
		nearLeafTwins(t, &l, rng)
	}
	for n := 1; n < 300; n += 7 {
		items := randomItems(n, rng)
		var s [8]float32
		spanOfMiddlesAVX2(&items[0], n, &s)
		want := spanOfMiddlesGo(items)
		require.Equal(t, [3]float32(want[:3]), [3]float32(s[:3]))
		require.Equal(t, [3]float32(want[4:7]), [3]float32(s[4:7]))

		m, ok := binningOf(items)
		if !ok {
			continue
		}
		var a, b bins
		a.clear()
		b.clear()
		fillBinsAVX2(&a, &m, &items[0], n)
		fillBinsGo(&b, &m, items)
		require.Equal(t, b.count, a.count)
		for k := range 3 {
			for i := range maxBins {
				require.Equal(t, [3]float32(b.span[k][i][:3]), [3]float32(a.span[k][i][:3]))
				require.Equal(t, [3]float32(b.span[k][i][4:7]), [3]float32(a.span[k][i][4:7]))
			}
		}

		mid, keys := make([][4]float32, n), make([]uint64, n)
		for i := range mid {
			mid[i] = [4]float32{float32(rng.NormFloat64()), float32(rng.NormFloat64()), float32(rng.NormFloat64())}
			keys[i] = uint64(rng.Uint32())<<32 | uint64(rng.IntN(n))
		}
		spanOfAVX2(&mid[0], &keys[0], n, &s)
		want = spanOfGo(mid, keys)
		require.Equal(t, [3]float32(want[:3]), [3]float32(s[:3]))
		require.Equal(t, [3]float32(want[4:7]), [3]float32(s[4:7]))
	}
}

// plain leaves the sign of zeros out.
func plain(it item) item {
	for k := range 3 {
		it.lo[k], it.neg[k] = it.lo[k]+0, it.neg[k]+0
	}
	it.leaf = 0
	return it
}

func randomLeaf(rng *rand.Rand, odd bool) (l leaf) {
	for lane := range lanes {
		l.id[lane] = int32(rng.IntN(100))
		size := math.Pow(10, -6*rng.Float64())
		for i := range 9 {
			l.v[i][lane] = float32(0.5 + size*rng.NormFloat64())
			if odd && i >= 3 && rng.IntN(2) == 0 {
				l.v[i][lane] = l.v[i%3][lane] // collapsed, collinear or square to an axis
			}
			if odd && rng.IntN(20) == 0 {
				l.v[i][lane] = [...]float32{0, 1, -1, 1e-30, 5e-45, float32(math.Copysign(0, -1))}[rng.IntN(6)]
			}
		}
	}
	return l
}

func randomItems(n int, rng *rand.Rand) []item {
	items := make([]item, n)
	for i := range items {
		for k := range 3 {
			lo := float32(rng.NormFloat64())
			items[i].lo[k], items[i].neg[k] = lo, -lo-float32(rng.Float64()*0.1)
		}
		items[i].leaf = uint32(i)
	}
	return items
}

// nearLeafTwins walks a tree of the one leaf with both.
func nearLeafTwins(t *testing.T, l *leaf, rng *rand.Rand) {
	t.Helper()
	tree := &Tree{leaves: []leaf{*l}, root: leafBit, count: lanes, scale: 1, unscale: 1}
	a, b := tree.newNearWalk(), tree.newNearWalk()
	for range 20 {
		lane := rng.IntN(lanes)
		d := math.Pow(10, -8*rng.Float64())
		var p [3]float32
		for k := range 3 {
			p[k] = l.v[k][lane]
			if rng.IntN(4) > 0 {
				p[k] += float32(d * rng.NormFloat64())
			}
		}
		for _, w := range []*nearWalk{a, b} {
			w.p, w.bound, w.waiting, w.seen = p, float32(math.Pow(10, 2-12*rng.Float64())), 1, noChild
			w.found = 0
			w.stack[0] = waiting{ref: leafBit}
		}
		b.bound = a.bound
		require.Equal(t, walkNearGo(b), walkNearAVX2(a), "%v to %v", p, l)
		require.Equal(t, b.found, a.found)
		require.Equal(t, math.Float32bits(b.bound), math.Float32bits(a.bound), "%v to %v", p, l)
		if a.found > 0 {
			require.Equal(t, b.list[0].mask, a.list[0].mask)
			require.Equal(t, b.list[0].leaf, a.list[0].leaf)
			for lane := range lanes {
				require.Equal(t, math.Float32bits(b.list[0].sq[lane]), math.Float32bits(a.list[0].sq[lane]), "lane %d, %v to %v", lane, p, l)
			}
		}
	}
}

// TestEnclosingBounds: the float32 bounds of the leaf test enclose the float64 distances they stand for.
func TestEnclosingBounds(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(31, 32))
	for round := range 4000 {
		l := randomLeaf(rng, round%3 == 2)
		tree := &Tree{leaves: []leaf{l}, root: leafBit, count: lanes, scale: 1, unscale: 1}
		w := tree.newNearWalk()
		d := math.Pow(10, -9*rng.Float64())
		for k := range 3 {
			w.p[k] = l.v[k][round%lanes] + float32(d*rng.NormFloat64())
		}
		w.bound, w.waiting, w.seen = math.MaxFloat32, 1, noChild
		w.stack[0] = waiting{ref: leafBit}
		require.False(t, walkNear(w))
		require.EqualValues(t, 1, w.found)
		least := math.Inf(1)
		for lane := range lanes {
			a, b, c := l.corners(lane)
			f := nearTriangle(vecOf(w.p), a, b, c, math.Inf(1))
			up := float32(f.distSq*(1+0x1p-20) + 0x1p-120)
			require.LessOrEqual(t, w.list[0].sq[lane], up, "round %d lane %d: %v to %v", round, lane, w.p, l)
			least = min(least, f.distSq)
		}
		require.GreaterOrEqual(t, float64(w.bound), least, "the bound from above")
	}
}

// TestPlainGoGivesTheSame builds and asks everything without the assembly. It runs alone, before the parallel tests.
func TestPlainGoGivesTheSame(t *testing.T) {
	pos, tri, rays, points := scene(3, 3000)
	tree := Build(pos, tri, 2)
	h, n, s := everything(tree, rays, points, 2)
	all := make([][]Hit, len(rays))
	gather := func(i int, hits []Hit) { all[i] = append([]Hit(nil), hits...) }
	tree.AllHits(rays, 2, gather)
	wanted := all

	wideLanes = false
	defer func() { wideLanes = true }()
	plain := Build(pos, tri, 2)
	require.Equal(t, tree.nodes, plain.nodes)
	require.Equal(t, tree.leaves, plain.leaves)
	h2, n2, s2 := everything(plain, rays, points, 2)
	require.Equal(t, h, h2)
	require.Equal(t, n, n2)
	require.Equal(t, s, s2)
	all = make([][]Hit, len(rays))
	plain.AllHits(rays, 2, gather)
	require.Equal(t, wanted, all)
}
