// Package crowd makes one offset of the offsets of many stations: where their clocks
// agree, with a bound.
//
// Stations keep their clocks by networks and satellites, some badly, a few not at all.
// Over 57 recordings of 15 s (1,291 signals) half lay within 0.1 s of the median of their
// period, 68 % within 0.2, 90 % within 1.0, 99 % within 1.9 s. It is pure.
package crowd

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
)

// Least is the fewest stations that make a crowd: fewer are a club.
const Least = 5

// What all stations share, and no number of them averages away, s: half of what each part may differ by,
// once Delay is taken off. Common practice, no source.
const (
	Delay   = 0.05
	filter  = 0.03 // of the radio, 0 to 60 ms
	way     = 0.02 // 2 to 40 ms
	senders = 0.05 // the lateness that their own sound devices have in common (assumption: as much again)
	// Floor is all of them at their worst together.
	Floor = filter + way + senders
)

// Shared is the σ of what all share, s. The three parts have nothing to do with each other: each is uniform
// in its range, with the variance range²/3 of a half-width, and the variances add up.
var Shared = math.Sqrt((filter*filter + way*way + senders*senders) / 3)

// Stations that share one clock (a camp, a club) are wrong together, so that no count of them decides: the
// model below takes each to be wrong on its own.
const (
	// rivals: where so many agree elsewhere, and they are half as many as the most, nobody knows which
	// of the two is right (assumption: in real scatter so many seldom agree by chance).
	rivals = 3
	window = 0.2 // s: 68 % of stations are so near (57 recordings)
)

// mostBound is the widest statistical bound that is still a claim, s.
const mostBound = 0.5

// Offset is where a crowd agrees.
type Offset struct {
	Signals int
	OffsetS float64
	BoundS  float64 // half-width at 99 %, Floor included
}

// Why there is no crowd.
var (
	ErrFew       = errors.New("too few stations")
	ErrScattered = errors.New("the stations do not agree")
	ErrTwo       = errors.New("the stations agree on two times")
)

// The model: most stations scatter by a two-sided exponential of unknown width, some by
// about a second, a few are anywhere in the period. The parts fit the figures above
// (49, 70, 92, 98 %).
const (
	nearPart, farPart, anyPart = 0.80, 0.18, 0.02
	farSigma                   = 1.1
	step                       = 0.005
	reach                      = 1.5
)

var widths = [...]float64{0.03, 0.045, 0.07, 0.11, 0.16, 0.24, 0.36}

// Of finds where offsets, seconds, agree; period, seconds, is after how much an offset
// means the same again. Each offset must come from a station of its own.
func Of(offsets []float64, period float64) (o Offset, err error) {
	o.Signals = len(offsets)
	if o.Signals < Least {
		return o, fmt.Errorf("%w: %d, and %d are the least", ErrFew, o.Signals, Least)
	}
	mid, most := densest(offsets, period, func(float64) bool { return true })
	other, rival := densest(offsets, period, func(v float64) bool { return math.Abs(math.Remainder(v-mid, period)) > 2*window })
	if rival >= rivals && 2*rival >= most {
		return o, fmt.Errorf("%w: %d on one, %d on another %.1f s away", ErrTwo, most, rival, math.Abs(math.Remainder(other-mid, period)))
	}
	near := make([]float64, len(offsets))
	for i, v := range offsets {
		near[i] = math.Remainder(v-mid, period)
	}
	at, p := posterior(near, period)
	lo, hi := quantile(at, p, 0.005), quantile(at, p, 0.995)
	o.OffsetS = quantile(at, p, 0.5)
	o.BoundS = math.Max(hi-o.OffsetS, o.OffsetS-lo) + step
	o.OffsetS += mid
	if o.BoundS > mostBound {
		return o, fmt.Errorf("%w to better than %.1f s", ErrScattered, o.BoundS)
	}
	o.BoundS += Floor
	return o, nil
}

// densest is the offset, of those that may be it, that has the most others within window, and how many
// these are with it.
func densest(offsets []float64, period float64, may func(float64) bool) (best float64, most int) {
	sorted := append([]float64(nil), offsets...)
	sort.Float64s(sorted)
	for _, c := range sorted {
		n := 0
		for _, v := range sorted {
			if math.Abs(math.Remainder(v-c, period)) <= window {
				n++
			}
		}
		if n > most && may(c) {
			best, most = c, n
		}
	}
	return best, most
}

// together is of how many stations the densities are multiplied before they are made to be 1 at most: each lies
// between 10⁻⁴ and 20, so that no product leaves the range of the numbers. What is 10³⁰⁰ times less likely than another
// place may become 0.
const together = 16

// places are how many the grid has.
var places = int(math.Round(2*reach/step)) + 1

// posterior is how likely each place of the grid is to be the true offset.
func posterior(x []float64, period float64) (at, p []float64) {
	at, p = make([]float64, places), make([]float64, places)
	for i := range at {
		at[i] = float64(i)*step - reach
	}
	rest := make([]float64, places)
	density := slices.Repeat([]float64{1}, len(widths)*places)
	for n, xi := range x {
		for i, v := range at {
			d := xi - v
			rest[i] = farPart*math.Exp(-d*d/(2*farSigma*farSigma))/(farSigma*math.Sqrt(2*math.Pi)) + anyPart/period
		}
		for k, b := range widths {
			multiply(density[k*places:(k+1)*places], rest, at, xi, b)
		}
		if n%together == together-1 {
			scale(density, slices.Max(density))
		}
	}
	for i, v := range density {
		p[i%places] += v
	}
	sum := 0.0
	for _, v := range p {
		sum += v
	}
	scale(p, sum)
	return at, p
}

// multiply multiplies, at each place, the density of a station at xi among others of the width b: the exponential
// falls off by the same part from each place to the next, on both sides.
func multiply(density, rest, at []float64, xi, b float64) {
	from := min(max(int(math.Ceil((xi+reach)/step)), 0), places)
	fall := math.Exp(-step / b)
	if e := nearPart / (2 * b); from < places {
		e *= math.Exp((xi - at[from]) / b)
		for i := from; i < places; i++ {
			density[i] *= e + rest[i]
			e *= fall
		}
	}
	if e := nearPart / (2 * b); from > 0 {
		e *= math.Exp((at[from-1] - xi) / b)
		for i := from - 1; i >= 0; i-- {
			density[i] *= e + rest[i]
			e *= fall
		}
	}
}

func scale(x []float64, by float64) {
	for i := range x {
		x[i] /= by
	}
}

func quantile(at, p []float64, q float64) float64 {
	sum := 0.0
	for i, v := range p {
		if sum += v; sum >= q {
			return at[i]
		}
	}
	return at[len(at)-1]
}
