package spatial

// queryChunk is how many queries one thread takes at a time. The first of them starts without a neighbour's answer.
const queryChunk = 2048

// place gives query i's position in the tree's scale.
type placer func(i int) (x, y, z float32)

// inOrder calls the function that worker makes for one thread once for each of count queries, neighbours in space one
// after the other as far as it pays: where queries come in runs of neighbours, each chunk is sorted by itself, else all
// are.
func (t *Tree) inOrder(count, threads int, at placer, worker func() func(i int)) {
	if count < 32 {
		ask := worker()
		for i := range count {
			ask(i)
		}
		return
	}
	threads = cores(threads)
	var order []entry
	if count > queryChunk && !t.inRuns(count, at) {
		order = make([]entry, count)
		batch(count, 1<<14, threads, func(begin, end int) { t.placeQueries(order[begin:end], begin, at) })
		order = sortEntries(order, make([]entry, count), threads)
	}
	type local struct {
		ask         func(i int)
		here, spare [queryChunk]entry
	}
	workers := make(chan *local, threads) // more than a free list: no chunk waits for one
	for range threads {
		workers <- nil
	}
	batch(count, queryChunk, threads, func(begin, end int) {
		l := <-workers
		if l == nil {
			l = &local{ask: worker()}
		}
		part := l.here[:end-begin]
		if order != nil {
			part = order[begin:end]
		} else {
			t.placeQueries(part, begin, at)
			part = sortEntries(part, l.spare[:end-begin], 1)
		}
		for _, e := range part {
			l.ask(int(uint32(e)))
		}
		workers <- l
	})
}

func (t *Tree) placeQueries(part []entry, begin int, at placer) {
	for i := range part {
		x, y, z := at(begin + i)
		part[i] = entry(t.grid.place(x*t.scale, y*t.scale, z*t.scale))<<32 | entry(begin+i)
	}
}

// runLength and runShare define neighbours: queries runLength apart are mostly nearer than runShare of the surface's
// size.
const (
	runLength = 64
	runShare  = 1.0 / 16
)

// inRuns looks at a thousand places in the order given.
func (t *Tree) inRuns(count int, at placer) bool {
	size := (&box{t.lo, t.hi}).widest()
	near, seen := 0, 0
	for i := 0; i+runLength < count; i += max(count/1000, 1) {
		x0, y0, z0 := at(i)
		x1, y1, z1 := at(i + runLength)
		if more(more(abs32(x1-x0), abs32(y1-y0)), abs32(z1-z0))*t.scale < size*runShare {
			near++
		}
		seen++
	}
	return 2*near > seen
}
