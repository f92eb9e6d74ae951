package image

import "sync"

// bands runs fn over the rows [0, rows) in as many pieces as there are threads. A panic in one of them comes back on
// the caller's goroutine.
func bands(rows, threads int, fn func(from, to int)) {
	threads = max(1, min(threads, rows/16))
	if threads == 1 {
		fn(0, rows)
		return
	}
	var wg sync.WaitGroup
	told := make([]any, threads)
	for t := range threads {
		wg.Go(func() {
			defer func() { told[t] = recover() }()
			fn(t*rows/threads, (t+1)*rows/threads)
		})
	}
	wg.Wait()
	for _, p := range told {
		if p != nil {
			panic(p)
		}
	}
}
