package port

import (
	"time"

	"noonmark/clockcheck/timescale"
)

const (
	restShort = 20 * time.Millisecond  // until the rhythm is known
	restMin   = 5 * time.Millisecond   // 10 Hz and more
	restMax   = 100 * time.Millisecond // 1 Hz and less
	restBurst = 700 * time.Millisecond // through a burst: its bytes fit the kernel's buffer
	runOn     = 1500 * time.Millisecond
	// Every so many bursts the pauses are looked for anew; the first if a burst
	// fills the line all but for a pause, the second otherwise.
	lookOften, lookSeldom = 4, 16
)

// pacer says how long to rest between two reads of one burst. Resting long
// saves wake-ups, but a burst that begins during a rest has no arrival time:
// so the rest is a fraction of the time between bursts, and short enough for two
// rests to fit into the silence.
type pacer struct {
	baud  int              // 0 = no line speed
	first timescale.Local  // start of the burst before
	gaps  [2]time.Duration // the last times between bursts
	quiet time.Duration    // the last silence before a burst
	long  time.Duration    // how long the burst before took to come in
	end   timescale.Local  // last bytes of the present burst
	some  bool             // first is set
	count int              // bursts
}

// burst notes that a burst began after so much silence.
func (p *pacer) burst(at timescale.Local, quiet time.Duration) {
	if p.some {
		p.gaps[1], p.gaps[0] = p.gaps[0], at.Sub(p.first)
	}
	p.long = 0
	if p.end > p.first {
		p.long = p.end.Sub(p.first)
	}
	p.first, p.quiet, p.some = at, quiet, true
	p.count++
}

// look says that this burst's pauses are to be looked for.
func (p *pacer) look() bool {
	if p.long > 3*p.quiet {
		return p.count%lookOften == 0
	}
	return p.count%lookSeldom == 0
}

// more notes that bytes of the present burst came in.
func (p *pacer) more(at timescale.Local) { p.end = at }

// rest returns how long to rest now. A stream that has not paused for so long
// has changed its rhythm: rest briefly, to find the pause.
func (p *pacer) rest(now timescale.Local) time.Duration {
	d := restShort
	if longest := max(p.gaps[0], p.gaps[1]); p.gaps[0] > 0 && now.Sub(p.first) < max(runOn, longest*3/2) {
		d = p.pause()
		// Most of a burst that is like the one before is best slept through; what
		// is left of it, and its end, are looked for in short rests. Not each time:
		// several bursts taken for one, after a hiccup, would be slept through as
		// one for ever.
		if rest := p.first.Add(p.long).Sub(now); rest > d && p.quiet >= 2*d && !p.look() {
			d = min(rest, restBurst)
		}
	}
	if p.baud > 0 {
		// Never let more than 2048 bytes (10 bits each) gather: half of the
		// line buffer of the kernel (N_TTY_BUF_SIZE, 4096).
		d = min(d, 2048*10*time.Second/time.Duration(p.baud))
	}
	return d
}

// pause is the silence after which a burst of the known rhythm has ended: a fraction of
// the time between bursts, short enough for two to fit into the silence.
func (p *pacer) pause() time.Duration {
	return min(max(min(max(p.gaps[0], p.gaps[1])/8, p.quiet/3), restMin), restMax)
}
