package baseline

import "math"

// The clock filter and the clock discipline of RFC 5905, sections 10 and 11.3
// with the constants of appendix A, fed by one receiver: a textbook to measure
// against, written to do well. A receiver has no round trip, so all samples have
// the same delay and the filter's choice falls on the newest.
const (
	stages    = 8      // NSTAGE
	spikeGate = 3      // SGATE
	stepOver  = 0.128  // STEPT, s
	watch     = 900    // WATCH, s
	average   = 4      // AVG
	allan     = 1500   // ALLAN, s
	maxPoll   = 17     // MAXPOLL, log₂ s
	maxFreq   = 500e-6 // MAXFREQ
	precision = 1e-6   // s: 2^−20
	// The loop gain that appendix A prints, 65536, gives a phase time constant of
	// 48 days at 64 s. The one that makes the loop work is 16 (from memory: it is
	// the value the loop was designed with). Both are tried.
	printedGain, workingGain = 65536, 16
)

// loop steers a clock that starts right, with the right rate.
type loop struct {
	poll    int     // log₂ s
	gain    float64 // PLL
	adjust  float64 // s: the clock is the local timescale and this
	freq    float64
	offset  float64 // left to be slewed, s
	applied float64 // rate at which adjust grows in this second
	synced  bool
	spike   bool
	updated float64 // s: time of the last update
	samples []float64
	last    float64 // offset last let through by the filter
	lastAt  float64
}

// second applies the corrections of one second (clock_adjust).
func (l *loop) second() {
	l.adjust += l.applied
	slew := l.offset / (l.gain * min(math.Exp2(float64(l.poll)), allan))
	l.offset -= slew
	l.applied = l.freq + slew
}

// sample is the clock filter; at is in seconds.
func (l *loop) sample(at, offset float64) {
	// Section 10 compares with the jitter of the samples there are. This sample is
	// not among them: with the newest as the choice, a spike would excuse itself.
	sum, n := 0.0, float64(len(l.samples))
	for _, v := range l.samples {
		sum += (v - l.last) * (v - l.last)
	}
	spike := n > 1 && math.Abs(offset-l.last) > spikeGate*math.Max(precision, math.Sqrt(sum/(n-1)))
	if l.samples = append(l.samples, offset); len(l.samples) > stages {
		l.samples = l.samples[1:]
	}
	if spike && at-l.lastAt < 2*math.Exp2(float64(l.poll)) {
		return
	}
	l.last, l.lastAt = offset, at
	l.update(at, offset)
}

// update is the clock discipline (local_clock), from the state in which the
// frequency is known.
func (l *loop) update(at, offset float64) {
	mu := at - l.updated
	if math.Abs(offset) > stepOver {
		if l.synced && (!l.spike || mu < watch) {
			l.spike = true
			return
		}
		l.adjust += offset
		l.offset, l.samples = 0, nil
		l.synced, l.spike, l.updated = true, false, at
		return
	}
	tau := math.Exp2(float64(l.poll))
	if l.synced {
		freq := 0.0
		if tau > allan/2 {
			freq += (offset - l.offset) / (math.Max(mu, allan) * math.Max(average, maxPoll+1-float64(l.poll)))
		}
		k := 4 * l.gain * tau
		freq += offset * min(mu, tau) / (k * k)
		l.freq = max(min(l.freq+freq, maxFreq), -maxFreq)
	}
	l.offset, l.updated, l.synced, l.spike = offset, at, true, false
}

// feed says which readings a loop is given at a poll.
type feed int

const (
	newest   feed = iota // the reading of that second
	averaged             // the mean of all since the last poll: not in the RFC
)

// follow is the RMS error, s, of a loop's clock.
func (t *trace) follow(c setting) float64 {
	l := loop{poll: c.poll, gain: c.gain, freq: -t.learned, applied: -t.learned}
	every := 1 << c.poll
	var r rms
	sum, n := 0.0, 0.0
	for k := range t.arrival {
		if k > 0 {
			l.second()
		}
		if k >= warmS {
			r.add(l.adjust - t.truth(k))
		}
		into := t.arrival[k].Sub(t.local[k]).Seconds()
		offset := t.claim(k) - (l.adjust + l.applied*into)
		if sum, n = sum+offset, n+1; k%every != 0 {
			continue
		}
		if c.feed == averaged {
			offset = sum / n
		}
		l.sample(float64(k), offset)
		sum, n = 0, 0
	}
	return r.value()
}

// Polls tried: section 7.2 allows 4 to 17; beyond 12 a night has no more than
// five updates.
const minPollTried, maxPollTried = 4, 12

// setting of a loop.
type setting struct {
	poll int     // log₂ s
	gain float64 // PLL
	feed feed
}

// settings tried.
var settings = func() (all []setting) {
	for _, f := range []feed{newest, averaged} {
		for _, g := range []float64{workingGain, printedGain} {
			for p := minPollTried; p <= maxPollTried; p++ {
				all = append(all, setting{p, g, f})
			}
		}
	}
	return all
}()
