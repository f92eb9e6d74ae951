package bake

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// each calls work for 0 to n-1, in any order; worker tells the goroutines apart. It stops early where ctx ends, and says so.
func each(ctx context.Context, n, threads int, work func(worker, i int)) error {
	threads = min(threadsOf(threads), max(n, 1))
	var next atomic.Int64
	var group sync.WaitGroup
	for worker := range threads {
		group.Go(func() {
			for i := int(next.Add(1)) - 1; i < n && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				work(worker, i)
			}
		})
	}
	group.Wait()
	return ctx.Err()
}

func threadsOf(asked int) int {
	if asked < 1 {
		return runtime.GOMAXPROCS(0)
	}
	return asked
}
