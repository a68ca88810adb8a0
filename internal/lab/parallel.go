package lab

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// each calls do(i) for i = 0 … n−1 on as many goroutines as there are cores,
// and returns the error of the lowest i that failed, or the context's. After a
// failure no further i is begun.
func each(ctx context.Context, n int, do func(i int) error) error {
	errs := make([]error, n)
	var next atomic.Int64
	var failed atomic.Bool
	var group sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		group.Go(func() {
			for ctx.Err() == nil && !failed.Load() {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				if errs[i] = do(i); errs[i] != nil {
					failed.Store(true)
				}
			}
		})
	}
	group.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return ctx.Err()
}
