// Package selection finds what a majority of independent clocks agree on.
//
// In go intervals, one a source, each said to hold the truth; out comes the
// interval that most of them support, and how many must be wrong. It is the
// selection algorithm of RFC 5905 section 11.2.1. It is pure; any goroutine
// may call.
package selection

import (
	"cmp"
	"slices"
)

// Interval is what one source claims: the truth lies in [Low, High], most
// likely at Mid. Any unit, the same for all. A source that does not satisfy
// Low ≤ Mid ≤ High (a NaN, say) agrees with nobody but counts as a source.
// Flat: it is as likely anywhere, and has no midpoint.
type Interval struct {
	Low, Mid, High float64
	Flat           bool
}

// The kinds of endpoint, in the order they take at equal values: intervals
// are closed, so that one begins before another ends.
const (
	low = iota
	mid
	high
)

type endpoint struct {
	at   float64
	kind int
}

// onStack is the number of sources handled without allocating.
const onStack = 16

// Select returns the interval that the sources agree on and the number of
// falsetickers that had to be allowed for, always fewer than half of the
// sources. It returns ok = false when there is no such majority: two sources
// that disagree have no winner. Sources must be independent of each other;
// that is for the caller to see to.
//
// Step 5 is done as "d ≤ f and l < u", not "d = f" as printed: the printed
// form rejects sources that agree better than it allows for. The program text
// of appendix A.5.5.1 differs from section 11.2.1 and was not followed.
func Select(sources []Interval) (lo, hi float64, falsetickers int, ok bool) {
	var buf [3 * onStack]endpoint
	points := buf[:0]
	for _, s := range sources {
		if s.Low <= s.Mid && s.Mid <= s.High {
			points = append(points, endpoint{s.Low, low}, endpoint{s.High, high})
			if !s.Flat {
				points = append(points, endpoint{s.Mid, mid})
			}
		}
	}
	slices.SortFunc(points, func(a, b endpoint) int {
		return cmp.Or(cmp.Compare(a.at, b.at), a.kind-b.kind)
	})
	m := len(sources)
	for f := 0; 2*f < m; f++ {
		l, below, okL := scan(points, m-f, false)
		u, above, okU := scan(points, m-f, true)
		if okL && okU && below+above <= f && l < u {
			return l, u, f, true
		}
	}
	return 0, 0, 0, false
}

// scan walks the endpoints, upward or downward, until need intervals are open
// at once. It returns that point and how many midpoints it passed.
func scan(points []endpoint, need int, downward bool) (at float64, mids int, ok bool) {
	opens, open := low, 0
	if downward {
		opens = high
	}
	for i := range points {
		p := points[i]
		if downward {
			p = points[len(points)-1-i]
		}
		switch p.kind {
		case mid:
			mids++
		case opens:
			if open++; open >= need {
				return p.at, mids, true
			}
		default:
			open--
		}
	}
	return 0, 0, false
}
