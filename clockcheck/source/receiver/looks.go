package receiver

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// Epochs are gathered to looks, the mean of some seconds each. Bursts of some receivers come at
// two places, most at one of them: those of the other are strays, and no look is made of them
// until so many came in a row that chance does not do it.

// look gathers epochs.
type look struct {
	n        int
	from     timescale.Local
	z0       int64
	at, z, q float64 // sums of at − from and z − z0, s, and of the square of that
	dated    bool
}

// gather adds an epoch to the look under way. Some in a row at another place begin the
// next look there.
func (r *Receiver) gather(at timescale.Local, z int64, dated bool) (l Look, ok bool) {
	off := r.off(at, z)
	if math.Abs(off) > math.Max(agree, farSigmas*math.Sqrt(r.seen)) {
		if r.other.n > 0 && math.Abs(r.other.off(at, z)) > agree {
			r.strayed()
			if r.sum.n <= 1 && r.run > 2*runLeast {
				r.Fault = Scatter
			}
			if r.sum.n < runLeast { // neither place is borne out
				r.sum = look{}
			}
		}
		r.other.add(at, z, dated)
		if r.other.n < r.inARow() {
			return l, false
		}
		l = r.other.mean(r.jitter)
		r.sum, r.other = look{}, look{}
		return l, !r.refuses(at)
	}
	r.strayed()
	r.count(0)
	r.scatter(1, off)
	if r.sum.add(at, z, dated); r.sum.n < runLeast || r.refuses(at) {
		return l, false
	}
	r.Fault = None
	if first := r.run == runLeast; !first && at.Sub(r.sum.from) < lookLong {
		return l, false
	}
	r.learnJitter()
	l = r.sum.mean(r.jitter)
	r.sum = look{}
	return l, true
}

// off is how far an epoch lies from the look under way, or from the last one, s.
func (r *Receiver) off(at timescale.Local, z int64) float64 {
	switch {
	case r.sum.n > 0:
		return r.sum.off(at, z)
	case r.Last.At > r.Since && at.Sub(r.Last.At) < 2*lookLong:
		return float64(z-r.Last.Z) / 1e9
	}
	return 0
}

// strayed says that the epochs of another place did not stay there.
func (r *Receiver) strayed() {
	for range r.other.n {
		r.count(1)
	}
	if r.other.n > 0 {
		r.scatter(r.other.n, r.off(r.other.from, r.other.z0))
	}
	r.other = look{}
}

// count follows the share of strays.
func (r *Receiver) count(stray float64) {
	r.epochs = min(r.epochs+1, strayLong)
	r.strays += (stray - r.strays) / float64(r.epochs+strayNone)
}

// scatter follows the mean square of how far epochs are off their look, those included that
// no look took: n of them are d seconds off.
func (r *Receiver) scatter(n int, d float64) {
	d = math.Min(math.Abs(d), strayMost)
	r.spreadOf = min(max(r.spreadOf, spreadFirst)+n, spreadEpochs)
	if r.spread += (d*d - r.spread) * float64(n) / float64(r.spreadOf); r.scatters() {
		r.Fault = Scatter
	}
}

// scatters tells whether the epochs are so far from each other that they are at no place: then
// a cluster of some that agree by chance may be anywhere, even a second off.
func (r *Receiver) scatters() bool { return r.spread > scatterMost*scatterMost }

// refuses tells whether a look is none, for the epochs scatter. The first is passed on even so:
// it tells the date, and no more. No page of leap-second data is awaited meanwhile, for
// nobody would see what it does.
func (r *Receiver) refuses(at timescale.Local) bool {
	if !r.scatters() || r.Last.At == 0 {
		return false
	}
	r.paged = at
	return true
}

// inARow is how many strays in a row are a move.
func (r *Receiver) inARow() int {
	switch {
	case r.strays <= 0:
		return runLeast
	case r.strays >= 0.5:
		return inARowMost
	}
	return min(max(int(math.Ceil(math.Log(moveChance)/math.Log(r.strays))), runLeast), inARowMost)
}

// off is how far an epoch lies from the look's mean, s.
func (l *look) off(at timescale.Local, z int64) float64 {
	return float64(z-l.z0)/1e9 - l.z/float64(l.n)
}

func (l *look) add(at timescale.Local, z int64, dated bool) {
	if l.n == 0 {
		*l = look{from: at, z0: z}
	}
	d := float64(z-l.z0) / 1e9
	l.n++
	l.at += at.Sub(l.from).Seconds()
	l.z += d
	l.q += d * d
	l.dated = dated
}

func (l *look) mean(jitter float64) Look {
	n := float64(l.n)
	return Look{At: l.from.Add(time.Duration(l.at / n * 1e9)), Z: l.z0 + int64(l.z/n*1e9), Var: jitter / n, Dated: l.dated}
}

// learnJitter follows the variance of one epoch, over some thirty looks.
func (r *Receiver) learnJitter() {
	n := float64(r.sum.n)
	v := (r.sum.q - r.sum.z*r.sum.z/n) / (n - 1)
	looks := float64(min(max(r.run/epochsALook, jitterFirst), jitterLooks))
	r.jitter += (v - r.jitter) / looks
	r.seen += (min(v, jitterMost*jitterMost) - r.seen) / looks
	r.jitter = math.Min(math.Max(r.jitter, jitterLeast*jitterLeast), jitterMost*jitterMost)
}
