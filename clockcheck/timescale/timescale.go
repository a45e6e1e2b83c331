// Package timescale gives the two kinds of time noonmark works with a type
// each, so that they cannot be mixed up: an instant of the free-running local
// oscillator, and a claim about UTC.
//
// It is a leaf: it imports nothing of ours, reads no clock, and every other
// package may import it.
package timescale

import "time"

// Local is an instant on the local timescale, in nanoseconds since an origin
// that means nothing (the machine's boot). The local timescale is the
// free-running oscillator (CLOCK_MONOTONIC_RAW): never stepped, never steered.
// Instants of different segments (the timescale stops in suspend) must not be
// subtracted.
type Local int64

// Add returns the instant d later.
func (l Local) Add(d time.Duration) Local { return l + Local(d) }

// Sub returns the time that passed from m to l, as the oscillator counted it.
func (l Local) Sub(m Local) time.Duration { return time.Duration(l - m) }

// UTC is a claim about UTC in nanoseconds since 1970-01-01 00:00:00 UTC, leap
// seconds not counted (POSIX). Range: the years 1678 to 2262. A positive leap
// second 23:59:60 has no value of its own: it carries that of the 00:00:00
// after it.
type UTC int64

// UTCOf returns the claim that t makes. A monotonic reading inside t is ignored.
func UTCOf(t time.Time) UTC { return UTC(t.UnixNano()) }

// Time returns the claim as a time.Time in UTC, without a monotonic reading.
func (u UTC) Time() time.Time { return time.Unix(0, int64(u)).UTC() }

// Add returns the claim d later.
func (u UTC) Add(d time.Duration) UTC { return u + UTC(d) }

// Sub returns u − v.
func (u UTC) Sub(v UTC) time.Duration { return time.Duration(u - v) }

// Second is the length of a second in the unit of Local and UTC.
const Second = int64(time.Second)
