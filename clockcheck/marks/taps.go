package marks

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"noonmark/clockcheck/timescale"
)

// Way is how an operator taps: the two differ in sign.
type Way int

const (
	Anticipate Way = iota // with the beat: the tone is expected after the count of seconds
	React                 // when the tone is heard
)

// How late a person taps. Expecting a tone people tap 20 to 80 ms early, each in his own
// way (review: Repp, Psychonomic Bulletin & Review 12, 2005, on negative mean
// asynchrony; figures from memory); reacting to one they are 140 to 190 ms late (Welford
// 1980, 147 ms, as quoted; a clinical series, 186 ms), and the keyboard is 5 to 50 ms
// late besides (from memory). The σ is that between persons: it does not average.
var ways = map[Way]struct{ late, sigma float64 }{
	Anticipate: {-0.03, 0.04},
	React:      {0.17, 0.05},
}

const (
	guardZ = 3.891 // 99.99 %, two-sided: blunders apart, a mark's bound holds
	// A set's own delay: the filters of a digital receiver take 5 to 100 ms (from memory).
	setLate, setHalf = 0.0525, 0.0475

	leastTaps = 3
	mostTaps  = 100
	outlier   = 0.15 // s from the median: another tone, or a slip
	firstOff  = 0.25 // s: half of what would make it the tap of another second
	scatter   = 0.15 // s: a standard deviation above it is no tapping
	guessed   = 0.05 // s: that of a few taps is not known better
)

// Taps are presses on successive tones.
type Taps struct {
	At        []timescale.Local
	Each      time.Duration // between tones: time.Second or time.Minute
	Way       Way
	Path      time.Duration // how long the signal is on its way, see Path
	PathBound time.Duration
}

// Result is what the taps say together.
type Result struct {
	At      timescale.Local // when the first tone began where it was sent
	Bound   time.Duration   // half-width that holds, blunders apart
	Used    int
	Dropped int           // taps too far from the others
	Spread  time.Duration // standard deviation of the used ones
}

// The reasons for which taps are no mark.
var (
	ErrFew     = errors.New("too few taps: 3 at least")
	ErrScatter = errors.New("the taps do not agree with each other: tap again")
	ErrFirst   = errors.New("the first tap, on the long tone, was off from the others: tap again")
)

// Average makes one mark of taps. Taps far from the median are dropped; if most are, or
// the rest scatter, there is no mark.
func Average(t Taps) (Result, error) {
	if len(t.At) < leastTaps || len(t.At) > mostTaps {
		return Result{}, fmt.Errorf("marks: %d taps: %w", len(t.At), ErrFew)
	}
	off := make([]float64, len(t.At))
	for i, at := range t.At {
		off[i] = math.Remainder(at.Sub(t.At[0]).Seconds(), t.Each.Seconds())
	}
	median := middle(off)
	if t.Each == time.Second && math.Abs(median) > firstOff {
		return Result{}, fmt.Errorf("marks: %w", ErrFirst) // it numbers the others
	}
	var kept []float64
	for _, o := range off {
		if math.Abs(o-median) <= outlier {
			kept = append(kept, o)
		}
	}
	mean, spread := meanAndSpread(kept)
	if len(kept) < leastTaps || 2*len(kept) <= len(off) || spread > scatter {
		return Result{}, fmt.Errorf("marks: %w", ErrScatter)
	}
	w := ways[t.Way]
	late := w.late + setLate + t.Path.Seconds()
	sigma := math.Hypot(w.sigma, math.Max(spread, guessed)/math.Sqrt(float64(len(kept))))
	return Result{
		At:    t.At[0].Add(seconds(mean - late)),
		Bound: seconds(guardZ*sigma+setHalf) + t.PathBound,
		Used:  len(kept), Dropped: len(off) - len(kept), Spread: seconds(spread),
	}, nil
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }

func middle(v []float64) float64 {
	s := slices.Sorted(slices.Values(v))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

func meanAndSpread(v []float64) (mean, spread float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		spread += (x - mean) * (x - mean)
	}
	if len(v) > 1 {
		spread = math.Sqrt(spread / float64(len(v)-1))
	}
	return mean, spread
}

// The way of a signal: 3.33564 µs a kilometre of great circle and 1 ms for the
// reflections, which is good to 2 ms up to the antipodes (computed for one layer at 110
// to 400 km).
const (
	perKm    = 3.33564e-6 // s
	overhead = 0.001      // s
	pathHalf = 0.002      // s
	halfWay  = 20_015.0   // km: half the earth's circumference
	longFrom = 5_000.0    // km: nearer stations are not heard the long way round
	wholeWay = 2 * halfWay
)

// Path is how long a signal is on its way over a distance of km, and the half-width of
// that. A negative distance is one that is not known. long: it is heard the long way
// round; where nobody says so, a way twice as long stays within the bound.
func Path(km float64, long bool) (delay, bound time.Duration) {
	switch {
	case km < 0:
		return seconds(overhead + perKm*halfWay/2), seconds(perKm*halfWay/2 + pathHalf)
	case long:
		return seconds(overhead + perKm*(wholeWay-km)), seconds(2 * pathHalf)
	case km < longFrom:
		return seconds(overhead + perKm*km), seconds(pathHalf)
	}
	twice := perKm * math.Min(km, wholeWay-2*km+0.001)
	return seconds(overhead + perKm*km), seconds(pathHalf + math.Max(twice, 0))
}

// A telephone that has its network sets its clock by it, to a second (the network's own
// message counts whole seconds); without one it goes by its crystal, 20 ppm (a plain
// tuning fork; planning figures).
const (
	phoneHalf = time.Second
	phonePPM  = 20
	// LongOffline is to be assumed where nobody knows when it last had a network.
	LongOffline = 7 * 24 * time.Hour
)

// Borrowed is the bound of a borrowed clock that was compared to within exchange and has
// been without a network for offline.
func Borrowed(exchange, offline time.Duration) time.Duration {
	return exchange + phoneHalf + offline/1_000_000*phonePPM
}
