// Package sleep waits in real time, and stops waiting when a context ends.
package sleep

import (
	"context"
	"time"
)

// For waits for d, or until ctx ends: then its error is returned.
func For(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}
