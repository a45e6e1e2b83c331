package bank

import (
	"math"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// MaxTracks is how many explanations are held; of more, the two dearest become one interval, which is wider
// and never wrong (assumption: a reading may cost 15 µs, and 29 cost 12).
const MaxTracks = 32

// Config is what is known of the machine.
type Config struct {
	Rate, RateSigma float64 // s/s: of UTC on the local timescale, learned or assumed
	ClockSigma      float64 // s/s, 1σ: the hardware clock's rate, unlearned
	ClockWander     float64 // 1/s: random walk of that rate while the station is on
}

// Bank holds the tracks. Make one with New.
type Bank struct {
	cfg       Config
	nats      [numAssumptions]float64
	forbidden uint32
	tracks    [MaxTracks]Track
	n         int
	born      [MaxTracks]Track // while a reading goes down: they have heard it
	nBorn     int
	best      int
	named     uint32 // ids given
	former    former // of the best track, as long as it heard the receiver …
	aside     former // … and of the likeliest that hears it, where the best does not
	quiet     quiet
	recalled  Recalled
	held      Held
	doubts    []Doubted // whom the run before took to be false, by each explanation
	late      Lateness
	last      [NumSources]word
	weight    [MaxTracks]float64 // of each track, together 1; latent ones 0
	z         [MaxTracks]float64 // how many σ of each track the guard spans; < 0 = left out
	guess     [3]float64         // s: the guard as last solved, and its sides below and above
	moved     float64            // s: the receiver has just moved so; the likeliest of those who hear it had to pay
	led       led                // how the receiver last moved, by those who hear it
	hearer    int                // the place of the likeliest track that hears the receiver
	slip      slip               // of the mark that is heard
	stepped   int                // s: … or stepped back so, as a track foretold that waits for leap-second data
	trace     Trace
}

// word is what a source said last.
type word struct {
	said  bool
	at    timescale.Local
	z     int64
	bound float64 // s, half-width
}

// New returns a bank that has heard nothing: one track, to which UTC is unknown.
func New(cfg Config) *Bank {
	b := &Bank{cfg: cfg}
	b.Scale(1)
	b.Clear()
	return b
}

// Clear forgets UTC, and with it all tracks; what is known of rates goes on from the best.
func (b *Bank) Clear() {
	var t Track
	t.F.Noise = b.restless()
	y, sigma := b.cfg.Rate, b.cfg.RateSigma
	if b.n > 0 && b.tracks[b.best].Located {
		f := &b.tracks[b.best].F
		y, sigma = f.V[estimate.Y], math.Hypot(f.Sigma(estimate.Y), rateAgain)
	}
	t.F.Forget(estimate.Y, y, sigma)
	t.F.Forget(estimate.S, 0, b.cfg.ClockSigma)
	b.tracks[0], b.n, b.best, b.former, b.aside, b.quiet = t, 1, 0, former{}, former{}, quiet{}
	b.last = [NumSources]word{}
	b.weigh()
}

func (b *Bank) restless() estimate.Noise {
	return estimate.Noise{X: rateWhite, Y: rateRestless, D: lateRestless, R: clockWhite, S: b.cfg.ClockWander}
}

// Tracks are the explanations there are; the slice is good until the next reading.
func (b *Bank) Tracks() []Track { return b.tracks[:b.n] }

// Best is the cheapest explanation.
func (b *Bank) Best() *Track { return &b.tracks[b.best] }

// Weight is how likely the i-th track is, 0 to 1; of a latent one 0.
func (b *Bank) Weight(i int) float64 { return b.weight[i] }

// Advance lets time pass in all tracks.
func (b *Bank) Advance(now timescale.Local) {
	for i := range b.tracks[:b.n] {
		b.tracks[i].F.Advance(now)
	}
}

// Hear takes a reading down to each track once.
func (b *Bank) Hear(r *Reading) {
	known := b.Best().F.Ahead(r.At.Sub(b.Best().F.At).Seconds())
	b.meetWitness(r)
	if b.trace != nil {
		b.trace.Reading(*r)
	}
	b.weighHearing(r)
	deaf, believer := b.deaf(r.Source), -1
	switch r.Source {
	case Receiver:
		b.hearer = b.likeliestHearer()
	case Clock:
	default:
		believer = b.likeliestBeliever(r.Source)
	}
	if r.isMark() {
		b.slip = b.mayBeASlip(believer, r)
	}
	for i := range b.tracks[:b.n] {
		if b.trace == nil {
			b.hear(&b.tracks[i], r)
		} else {
			b.show(i, r)
		}
	}
	if b.stepped > 0 {
		b.moved = -float64(b.stepped) // it costs who does not hear the receiver, whoever is the best
		b.stepToo(deaf, b.stepped, r)
	}
	if b.moved != 0 {
		b.movesToo(deaf, r)
	}
	if r.Source == Clock {
		b.setToo(r)
	}
	if believer >= 0 && b.tracks[believer].Out.Has(r.Source) {
		b.contradictedToo(deaf, r)
	}
	b.deliver()
	if r.Source == Receiver {
		b.followStream(r)
		b.deliver()
	} else {
		b.former.hear(b, r)
		b.aside.hear(b, r)
		b.borneOut(r)
	}
	b.remember(r)
	b.settle()
	b.quiet.follow(b.Best(), r, known)
}

// deliver puts in the tracks that were born; where there is no room, the two dearest
// become one interval.
func (b *Bank) deliver() {
	for i := range b.born[:b.nBorn] {
		if b.n == MaxTracks {
			b.mergeDearest()
		}
		b.tracks[b.n] = b.born[i]
		b.n++
	}
	b.nBorn = 0
}

// remember keeps what a source said of UTC. The hardware clock says it while it stands on
// the comparison of an earlier run.
func (b *Bank) remember(r *Reading) {
	w := &b.last[r.Source]
	if w.said, w.at = true, r.At; r.Source != Clock {
		w.z, w.bound = r.Z, 2*r.Common+wide*math.Sqrt(r.Var)
		return
	}
	for i := range b.tracks[:b.n] {
		if t := &b.tracks[i]; t.Vouched && t.Located && t.On.Has(Clock) {
			w.z = r.Z - t.F.ClockBase - int64(t.F.V[estimate.R]*1e9)
			w.bound = wide * t.F.Sigma(estimate.R)
			return
		}
	}
}

// show lets one track hear a reading, and shows what it made of it.
func (b *Bank) show(i int, r *Reading) {
	t := &b.tracks[i]
	if t.Located {
		t.F.Advance(r.At)
	}
	m := Made{Track: i, Cost: t.total()}
	if m.NuS, m.VarS2 = t.view(r); m.VarS2 > 0 {
		m.Nats = nats(t.gap(m.NuS), m.VarS2)
	}
	b.hear(t, r)
	m.Then, m.Out, m.Assumed = t.total(), t.Out, t.Assumptions()
	b.trace.Made(m)
}

// hear lets one track hear a reading, each kind its way.
func (b *Bank) hear(t *Track, r *Reading) {
	if t.Located {
		t.F.Advance(r.At)
	}
	switch {
	case !t.hears(r.Source):
		b.comeback(t, r)
	case r.Source == Receiver:
		b.hearStream(t, r)
	case r.Source == Clock:
		b.hearClock(t, r)
	default:
		b.hearTime(t, r)
	}
}

// add has a track be born. Where too many are, the last two become one interval.
func (b *Bank) add(t Track) {
	b.rename(&t)
	if b.nBorn == MaxTracks {
		b.born[b.nBorn-1].merge(&t)
		return
	}
	b.born[b.nBorn] = t
	b.nBorn++
}

// rename says that a track is another explanation now.
func (b *Bank) rename(t *Track) {
	b.named++
	t.id = b.named
}
