package thermal

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
)

// slope learns how the oscillator's rate changes with the temperature, from the
// readings of one reference at a time, in blocks of ten minutes: a Kalman filter of
// its own over what the reference says of UTC − local timescale, the rate at a fixed
// temperature, and the change of the rate by 1 °C. As the rate's own random walk and
// the wander of the reference's lateness are states and noise of it, a rate that goes
// its own way while it happens to get colder is not taken for the temperature's doing:
// plain regression would take it for that. How much the reference wanders is measured
// on the way; until then it is taken to be as bad as the filter holds it.
type slope struct {
	source string // whose readings
	base   int64  // ns, as of the filter
	have   bool   // a block was taken, and the next belongs to it
	begun  bool   // something was taken ever
	at     timescale.Local
	v      [3]float64 // s; s/s at c0; 1/°C
	p      [3][3]float64
	c0     float64 // °C
	c      float64 // °C in the last block
	wander float64 // s²/s of the reference, mean over the blocks
	blocks float64 // that are in it
	lo, hi float64 // °C from which to which it was learned
	block  block
}

// block gathers readings.
type block struct {
	begin       timescale.Local
	n, z, at, c float64 // number; sums, of the instants from begin on
}

const (
	// BlockLasts is how long readings are gathered; an older temperature tells nothing: = settles, in
	// which a crystal follows its board.
	BlockLasts = 10 * time.Minute
	// blockGap: after such a hole the reference may be late otherwise: some receivers wander to
	// another lateness within hours (Piepho 2017).
	blockGap = time.Hour
	// wanderLeast to wanderMost, s²/s, is how much a reference wanders: receivers measured, 0.3
	// to 30 ms in an hour. √(3e-10 · 1 h) = 1 ms, √(2.8e-8 · 1 h) = 10 ms, as for the bank.
	wanderLeast = 3e-10  // measured: 1 ms in an hour
	wanderMost  = 2.8e-8 // measured: 10 ms in an hour
	wanderPrior = 2      // blocks that its first value counts for (assumption: few, it is measured soon)
	wanderOver  = 72     // blocks of memory, 72 · 10 min = 12 h, a night
	// blockMost readings at most make a block's mean better: one a minute, for those of one minute
	// share their error (assumption; ten minutes of them, less the one that begins).
	blockMost = 9
	// blockLeast, s²: variance of a block's mean, (0.3 ms)²/2: two frames of a pulse by USB, package pulse.
	blockLeast = 4e-8
	// rateWalk, 1/s: random walk of the oscillator's rate, √(1e-16 · 1 h) = 0.6 ppm in an hour: a small
	// board measured 0.6 ppm in 8 h at rest, and 6 ppm over a room's range.
	rateWalk = 1e-16
	likely   = 2.576 // σ of a two-sided 99 %
	// slopeGate, σ: beyond it lie erfc(4/√2) = 6.3e-5 of a Gaussian: that was a jump …
	slopeGate = 4
	// … after which the rate is known to 1 ppm, s/s: 1 ppm/K · 1 K (0.1 to 1 are usual, Lux and Camp 2015).
	rateAfter = 1e-6
	// slopeSpan, °C: over less there is no slope: by likely·rateWalk in an hour, 1.5 ppm, a slope of
	// 0.5 ppm/°C is told from none over 3 °C.
	slopeSpan = 3
	// worthKeeping is the share of what is assumed of any crystal that a slope's σ is below
	// (assumption: a tenth better is of use).
	worthKeeping = 0.9
)

// newSlope is a slope of which an earlier run kept k.
func newSlope(k Kept) slope {
	s := slope{wander: wanderMost, blocks: wanderPrior, lo: mostC, hi: leastC}
	s.p[2][2] = sq(unlearned)
	if k.Sigma > 0 {
		s.v[2], s.p[2][2], s.lo, s.hi = k.PerC, sq(k.Sigma), k.LoC, k.HiC
	}
	return s
}

// parted: what comes does not go on from what was.
func (s *slope) parted() { s.have, s.block = false, block{} }

// feed takes a reading: z is UTC − local, s, relative to base, but for something that
// stands still (a latency), v its variance, at the temperature c. The rate is known as y.
func (s *slope) feed(source string, base int64, at timescale.Local, z, v, c float64, y Rate) {
	if s.source != source || s.base != base {
		s.source, s.base = source, base
		s.parted()
	}
	b := &s.block
	if b.n == 0 || at.Sub(b.begin) > 2*BlockLasts { // a hole in it
		*b = block{begin: at}
	}
	b.n++
	b.z += z
	b.at += at.Sub(b.begin).Seconds()
	b.c += c
	if at.Sub(b.begin) < BlockLasts {
		return
	}
	mid := b.begin.Add(time.Duration(b.at / b.n * 1e9))
	s.take(mid, b.z/b.n, b.c/b.n, math.Max(v/math.Min(b.n, blockMost), blockLeast), y)
	*b = block{}
}

// take brings a block's mean in: z at the temperature c, with the variance r.
func (s *slope) take(at timescale.Local, z, c, r float64, y Rate) {
	if !s.begun {
		s.begun, s.c0 = true, c
		s.v[1], s.p[1][1] = y.Mean, y.Variance
	}
	dt := at.Sub(s.at).Seconds()
	if whole := s.have && dt <= blockGap.Seconds(); !whole {
		if s.at != 0 {
			s.p[1][1] += rateWalk * math.Max(dt, 0)
		}
		s.phase(at, z, c, r)
		return
	}
	s.predict(dt, (s.c+c)/2-s.c0)
	nu, v := z-s.v[0], s.p[0][0]+r
	s.blocks = math.Min(s.blocks+1, wanderOver)
	s.wander += (math.Min(nu*nu, sq(slopeGate)*v)/dt - s.wander) / s.blocks
	if nu*nu > sq(slopeGate)*v {
		s.p[1][1] += sq(rateAfter)
		s.phase(at, z, c, r)
		return
	}
	gain := [3]float64{s.p[0][0] / v, s.p[1][0] / v, s.p[2][0] / v}
	row := s.p[0]
	for i := range s.v {
		s.v[i] += gain[i] * nu
		for k := range s.v {
			s.p[i][k] -= gain[i] * row[k]
		}
	}
	s.at, s.c = at, c
	s.lo, s.hi = math.Min(s.lo, c), math.Max(s.hi, c)
}

// phase begins with z anew; rate and slope stand.
func (s *slope) phase(at timescale.Local, z, c, r float64) {
	s.have, s.at, s.c, s.v[0] = true, at, c, z
	for i := range s.p {
		s.p[0][i], s.p[i][0] = 0, 0
	}
	s.p[0][0] = r
}

// predict lets dt pass at a temperature warmer than c0 by d.
func (s *slope) predict(dt, d float64) {
	s.v[0] += (s.v[1] + s.v[2]*d) * dt
	p := &s.p
	for i := range p {
		p[0][i] += dt*p[1][i] + d*dt*p[2][i]
	}
	for i := range p {
		p[i][0] += dt*p[i][1] + d*dt*p[i][2]
	}
	p[0][0] += math.Min(math.Max(s.wander, wanderLeast), wanderMost)*dt + rateWalk*dt*dt*dt/3
	p[0][1] += rateWalk * dt * dt / 2
	p[1][0] += rateWalk * dt * dt / 2
	p[1][1] += rateWalk * dt
}

// learned is the slope, if it is significant and one that crystals have.
func (s *slope) learned() (k, sigma float64, ok bool) {
	k, sigma = s.v[2], math.Sqrt(math.Max(s.p[2][2], 0))
	if math.Abs(k) < likely*sigma || math.Abs(k) > steepest || s.hi-s.lo < slopeSpan {
		return 0, 0, false
	}
	return k, math.Max(sigma, math.Max(sureLeast, sureShare*math.Abs(k))), true
}

// spread is what the slope may be where it is not learned, 1σ.
func (s *slope) spread() float64 {
	return math.Min(math.Max(math.Hypot(s.v[2], math.Sqrt(math.Max(s.p[2][2], 0))), sureLeast), unlearned)
}

// keep is what was learned, if that is worth it.
func (s *slope) keep() (k Kept, ok bool) {
	sigma := math.Sqrt(math.Max(s.p[2][2], 0))
	if s.lo > s.hi || sigma > worthKeeping*unlearned || sigma == 0 || math.Abs(s.v[2]) > steepest {
		return k, false
	}
	return Kept{PerC: s.v[2], Sigma: sigma, LoC: s.lo, HiC: s.hi}, true
}
