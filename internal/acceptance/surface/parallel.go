package surface

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// pieceSize is how many vertices, triangles or samples one piece of work holds. It is part of the results: sums are
// taken within a piece and then over the pieces in order.
const pieceSize = 1 << 14

func pieces(n int) int { return (n + pieceSize - 1) / pieceSize }

// eachPiece calls work for every piece of n things. worker tells the goroutines apart (0 to threads-1), so that each
// can keep scratch of its own. It stops early where ctx ends, and says so.
func eachPiece(ctx context.Context, n, threads int, work func(worker, piece, first, end int)) error {
	return each(ctx, pieces(n), threads, func(worker, i int) {
		work(worker, i, i*pieceSize, min((i+1)*pieceSize, n))
	})
}

// each calls work for 0 to n-1, in any order.
func each(ctx context.Context, n, threads int, work func(worker, i int)) error {
	threads = min(threads, n)
	if threads <= 1 {
		for i := range n {
			if ctx.Err() != nil {
				break
			}
			work(0, i)
		}
		return ctx.Err()
	}
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
