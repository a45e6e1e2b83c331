package main

import (
	"context"
	"time"
)

// sleep waits for d, or until ctx ends: then its error is returned.
func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
