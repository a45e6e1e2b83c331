package signal

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// When a claim is proved: "this pulse of this tone begins here in each second". Each second gives its evidence for the
// claim and for each rival, in the windows where their pulses would be. Rivals are the same pulse elsewhere in the
// second, a longer and a shorter pulse, and pulses of other tones. The claim must beat each of them; so a false claim is
// made only where it beats what is true.
//
// Where a rival is as true as the claim, the seconds' differences have the mean 0, and their Student's t is so large by
// chance in falseClaims of such sounds at most (Student, The probable error of a mean, 1908; with heavier tails than
// normal ones it is rarer: B. Efron, Student's t-test under symmetry conditions, 1969). Where a rival is truer, it is
// rarer by far. That the seconds are independent is an assumption: of 0.5 Hz of spread, fading is so from one to the next.
const falseClaims = 1e-3

// weak is how many times the noise's median a power must be to count: so ticks of 3 to 12 times the noise are told best
// from those of twice their length (of 1, 3, 6 and 12 medians by simulation: t = 5.9, 6.4, 6.5, 6.4 at −5 dB).
const weak = 4

// contest is a claim's evidence by the second, and how clearly it beats the rival that comes nearest to it.
type contest struct {
	claim   []float64
	weakest float64 // Σd/√(n·Σd²) of the n differences d, −1 to 1
}

func claim(seconds []float64) contest { return contest{seconds, 1} }

func (c *contest) against(rivals ...[]float64) {
	for _, rival := range rivals {
		sum, squares := 0.0, 1e-30
		for i, v := range c.claim {
			d := v - rival[i]
			sum, squares = sum+d, squares+d*d
		}
		c.weakest = math.Min(c.weakest, sum/math.Sqrt(squares*float64(len(c.claim))))
	}
}

// won tells whether the claim beats all rivals.
func (c contest) won() bool { return c.chance() < falseClaims }

// chance is how often a rival that is as true is beaten so: with w the weakest, t = w·√((n−1)/(1−w²)), which half of
// I(1−w²; (n−1)/2, ½) exceeds.
func (c contest) chance() float64 {
	half := mathext.RegIncBeta(float64(len(c.claim)-1)/2, 0.5, math.Max(1-sq(c.weakest), 0)) / 2
	if c.weakest < 0 {
		return 1 - half
	}
	return half
}

// track is a tone's power in windows that begin at each ms, and the noise in them: the median of the powers.
type track struct {
	env   []float64
	noise float64
}

// trackOf takes windows of some ms; the noise is least at least.
func trackOf(samples []float32, hz float64, window int, least float64) track {
	env := envelope(samples, hz, window)
	return track{env, math.Max(median(env), least) + 1e-30}
}

// secondsOf is how many seconds of a sound give evidence: all but the first and the last, so that what is half a second
// before or after lies in the sound too.
func secondsOf(samples []float32) int { return len(samples)/(1000*perMS) - 2 }

// each is the evidence d ms (−1000 to 1000) after ms begin of each of n seconds. What is more than half a second after it is
// taken from the second before.
func (t track) each(begin, d, n int) []float64 {
	if d > 500 {
		d -= 1000
	}
	out := make([]float64, n)
	for s := range out {
		out[s] = evidence(t.env[(s+1)*1000+begin+d], t.noise)
	}
	return out
}

// evidence is what a second says by the power in a window.
func evidence(power, noise float64) float64 { return math.Log1p(power / (weak * noise)) }

// whole is the nearest millisecond of the second.
func whole(ms float64) int { return (int(math.Round(ms)) + 1000) % 1000 }

// pulses is the contest of pulses of long ms at ms begin of each second with such pulses elsewhere; windows of t are as long.
func pulses(t track, begin, long, n int) contest {
	c := claim(t.each(begin, 0, n))
	for d := max(10, long/2); d <= 1000-max(10, long/2); d++ {
		c.against(t.each(begin, d, n))
	}
	return c
}

// length is the contest of a tick with one of twice its length and one of half.
func length(samples []float32, t track, hz float64, begin, long int) contest {
	n := secondsOf(samples)
	c := claim(t.each(begin, 0, n))
	double := trackOf(samples, hz, 2*long, 2*t.noise)
	c.against(double.each(begin, 0, n), double.each(begin, -long, n))
	if long >= 2*windowMS {
		half := trackOf(samples, hz, long/2, t.noise/2)
		c.against(half.each(begin, 0, n), half.each(begin, long/2, n))
	}
	return c
}

// edges is the contest of what is just inside the begin and the end of long pulses with what is just outside.
func edges(samples []float32, hz float64, begin, long int) (from, to contest) {
	t, n := trackOf(samples, hz, keyedTen, 0), secondsOf(samples)
	from, to = claim(t.each(begin, 0, n)), claim(t.each(begin, long-keyedTen, n))
	from.against(t.each(begin, -keyedTen-keyedWindow, n))
	to.against(t.each(begin, long+keyedWindow, n))
	return from, to
}

// ownTone is the contest of a tick with pulses of other tones: it is not the edge of a longer pulse, nor a click.
func ownTone(samples []float32, t track, begin, long int) contest {
	c := claim(t.each(begin, 0, secondsOf(samples)))
	short := newTones(samples, windowMS, t.noise*windowMS/float64(long))
	for b, of := range short.each(begin, 0) {
		if f := short.hz(b); f != 1000 && f != 1200 { // another station may tick at the same time
			c.against(of)
		}
	}
	around := newTones(samples, keyedTen, t.noise*keyedTen/float64(long))
	for d := -keyedTen; d <= long; d += windowMS {
		c.against(around.each(begin, d)...)
	}
	return c
}
