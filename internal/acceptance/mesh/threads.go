package mesh

import (
	"runtime"
	"sync"
)

// gang runs functions side by side. A panic in one of them comes back in wait, on the caller's goroutine, so that
// whoever reads a file can keep its fault from ending the process.
type gang struct {
	wg   sync.WaitGroup
	once sync.Once
	told any
}

func (g *gang) run(fn func()) {
	g.wg.Go(func() {
		defer func() {
			if p := recover(); p != nil {
				g.once.Do(func() { g.told = p })
			}
		}()
		fn()
	})
}

func (g *gang) wait() {
	g.wg.Wait()
	if g.told != nil {
		panic(g.told)
	}
}

// parallelFrom is the number of components below which a second thread costs more than it saves.
const parallelFrom = 1 << 16

// maxThreads bounds the pieces of chunks; more than memory bandwidth can feed does not help.
const maxThreads = 8

// chunks runs fn over [0, n) in as many pieces as there are threads, at most maxThreads, each a multiple of step long.
func chunks(n, step int64, fn func(piece int, from, to int64)) (pieces int) {
	if n < parallelFrom || runtime.GOMAXPROCS(0) == 1 {
		fn(0, 0, n)
		return 1
	}
	pieces = min(runtime.GOMAXPROCS(0), maxThreads)
	size := (n/int64(pieces)/step + 1) * step
	var g gang
	for p := range pieces {
		g.run(func() { fn(p, min(int64(p)*size, n), min(int64(p+1)*size, n)) })
	}
	g.wait()
	return pieces
}

// parallel runs fn for 0…n-1 on all threads.
func parallel(n int, fn func(i int)) {
	threads := min(runtime.GOMAXPROCS(0), n)
	if threads <= 1 {
		for i := range n {
			fn(i)
		}
		return
	}
	next := make(chan int, n)
	for i := range n {
		next <- i
	}
	close(next)
	var g gang
	for range threads {
		g.run(func() {
			for i := range next {
				fn(i)
			}
		})
	}
	g.wait()
}
