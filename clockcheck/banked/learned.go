package banked

import (
	"math"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/explain"
	"noonmark/clockcheck/source/air"
	"noonmark/clockcheck/timescale"
)

// What is kept over a power-off and over a restart of the program is the hull of all
// explanations, with its doubts: one interval, its half-width as 4 σ. Where they have UTC at several places, their accounts
// stand beside it, and count in its place.

const (
	maxLatencies = 8 // receivers in their configurations; the oldest go (assumption)
	// hullSigmas: a half-width is kept as so many σ. The guard of the next run spans at least 4.21 σ
	// of it (a quarter of the risk, two-sided), so it is no narrower.
	hullSigmas = 4
	// rateKept, s/s, σ: a rate known less well is not kept; a sixth of rateUnlearned (assumption).
	rateKept = 5e-6
	// clockKept, s, σ: nor is a hardware clock's offset: half of a minute: a mark that does not say
	// its minute could not be placed by more.
	clockKept = 30.0
	// sameStream, s: a stream that is as late as that of the run before, within bank's edge either
	// way, 2·0.05.
	sameStream = 0.1
	// looseMost, s, σ: a lateness known no better than a third of what is assumed of any, 0.45/3, is
	// not kept.
	looseMost = 0.15
	// seconds, s: a wider hull is kept as a range about the best, no Gaussian: whole seconds are
	// 1 s apart.
	seconds = 1.0
)

// Learned is what is worth keeping now.
func (j *Judge) Learned() clockcheck.Learned {
	defer j.bank.InPassing()()
	out := j.learned
	t := j.bank.Best()
	sy := t.F.Sigma(estimate.Y)
	if out.Temperature = out.Temperature.Keep(&j.warm, t.Located && sy < rateKept); t.Located && sy < rateKept {
		out.RatePPM, out.RateSigmaPPM = t.F.V[estimate.Y]*1e6, sy*1e6
	}
	out.Latencies = j.nearlyProved(j.latencies())
	late := j.lateness(out.Latencies)
	out.RTC = j.keptClock(out.RTC, late)
	out.Held = j.hold(late)
	return out
}

// hull is where UTC may be around the best track's X: its middle and a σ, s.
func (j *Judge) hull() (mid, sigma float64) {
	lo, hi := j.bank.Guard(0)
	return (lo + hi) / 2, (hi - lo) / 2 / hullSigmas
}

func (j *Judge) keptClock(was *clockcheck.LearnedRTC, late bank.Lateness) *clockcheck.LearnedRTC {
	t := j.bank.Best()
	mid, sigma := j.hull()
	switch {
	// What was kept of it is false, or it was written, or may have been: by its newest reading it is elsewhere.
	case t.Out.Has(bank.Clock) || j.bank.ClockOdd() || j.clock.Moved() && (sigma > clockKept || !j.near(t)):
		return nil
	case !t.Located || !t.Clocked || t.Vouched && j.clock.Kept() != nil || sigma > clockKept:
		return was
	}
	f := &t.F
	out := &clockcheck.LearnedRTC{At: timescale.UTC(int64(f.At) + f.Base + int64((f.V[estimate.X]+mid)*1e9)),
		OffsetS: float64(f.ClockBase)/1e9 + f.V[estimate.R] - mid, SigmaS: math.Max(sigma, f.Sigma(estimate.R)),
		RatePPM: f.V[estimate.S] * 1e6, RateSigmaPPM: f.Sigma(estimate.S) * 1e6,
		DateProved: j.bank.Proved().Date, Ancestry: explain.Roots(nil, t.Roots), Doubted: j.doubted()}
	out.Accounts = j.accounts(mid, late, 0, false)
	j.clock.Keep(out)
	out.Sensor, out.TempC = j.warm.Sensor, j.warm.C
	return out
}

// near tells whether the hardware clock, which was written since it was last read, is where the
// comparison has it all the same.
func (j *Judge) near(t *bank.Track) bool {
	return t.Located && t.Clocked && j.system.set &&
		j.clock.Near(float64(t.F.ClockBase)/1e9+t.F.V[estimate.R], float64(j.system.s1-j.utc(j.system.l1))/1e9)
}

// hold is what the next run of the program in this boot goes on from.
func (j *Judge) hold(late bank.Lateness) *clockcheck.Held {
	t := j.bank.Best()
	if !t.Located {
		return nil
	}
	mid, sigma := j.hull()
	f := &t.F
	var lo, hi float64
	if 2*hullSigmas*sigma > seconds && !j.bank.Proved().Second { // whole seconds apart: what is best stays so
		lo, hi = j.bank.Guard(0)
		// The room is the whole guard, beside σ: the stream may tell where the best is, and not
		// where the others are.
		mid, sigma = 0, math.Hypot(f.Sigma(estimate.X), sameStream/hullSigmas)
	}
	// Of one side, what is dearer than a receiver that is false stands apart. A cheaper one would go on without whom it is latent in.
	accounts := j.accounts(mid, late, j.bank.Nats(bank.ReceiverFalse), !j.bank.Proved().Second)
	// Where the stream would be is known on, whether or not it is believed now: if it comes back there, it
	// is the one that UTC was told by, and no second word.
	return &clockcheck.Held{At: f.At, OffsetNS: f.Base + int64((f.V[estimate.X]+mid)*1e9), SigmaS: sigma, RoomLoS: lo, RoomHiS: hi,
		RatePPM: f.V[estimate.Y] * 1e6, RateSigmaPPM: j.bank.RateSigma() * 1e6, DateProved: j.bank.Proved().Date,
		Ancestry: explain.Roots(nil, t.Roots), Doubted: j.doubted(), Confirmed: j.bank.Told(), Rated: j.bank.Rated(),
		Stream: t.On.Has(bank.Receiver) && t.Lead == 0, LatenessS: f.V[estimate.D] + mid, Accounts: accounts}
}

// doubted is whom explanations take to be false.
func (j *Judge) doubted() (out []clockcheck.DoubtedSet) {
	for _, d := range j.bank.Doubts() {
		out = append(out, clockcheck.DoubtedSet{Whom: names(d.Whom), Nats: d.Nats})
	}
	return out
}

// names are those of a set of kinds, the hardware clock among them.
func names(s bank.Set) []string {
	out := explain.Roots(nil, s)
	if s.Has(bank.Clock) {
		out = append(out, "clock")
	}
	return out
}

// doubtsOf reads that back; of builds that kept names only, together, all of them.
func doubtsOf(sets []clockcheck.DoubtedSet, names []string, nats float64) (out []bank.Doubted) {
	for _, s := range sets {
		if whom := doubtedOf(s.Whom); whom != 0 {
			out = append(out, bank.Doubted{Whom: whom, Nats: math.Max(s.Nats, 0)})
		}
	}
	if whom := doubtedOf(names); whom != 0 {
		out = append(out, bank.Doubted{Whom: whom, Nats: math.Max(nats, 0)})
	}
	return out
}

// doubtedOf reads names back: of servers, all are doubted.
func doubtedOf(names []string) bank.Set {
	s := setOf(names)
	if s.Has(bank.Before) {
		s |= bank.SetOf(bank.Server)
	}
	return s
}

// Resume goes on from what an earlier run knew, in the same boot and without a sleep.
func (j *Judge) Resume(now timescale.Local) {
	h := j.learned.Held
	t := j.bank.Best()
	if h == nil || t.Located && !t.On.Only(bank.SetOf(bank.Clock)) || h.At > now || h.SigmaS <= 0 || h.RateSigmaPPM <= 0 {
		return
	}
	spoke := t.Located
	if spoke { // the hardware clock spoke first: it may have been set since, the oscillator was not
		j.again()
	}
	back := bank.Held{At: h.At, Z: h.OffsetNS, Sigma: h.SigmaS, Rate: h.RatePPM * 1e-6, RateSigma: h.RateSigmaPPM * 1e-6,
		Dated: h.DateProved, Lo: float64(h.SecLo) + h.RoomLoS, Hi: float64(h.SecHi) + h.RoomHiS, From: setOf(h.Ancestry), Doubts: doubtsOf(h.Doubted, h.WasDoubted, h.DoubtNats), Told: h.Confirmed, Rated: h.Rated}
	if h.Rated == 0 {
		back.Rated = h.Confirmed
	}
	fromRules(h, &back)
	if back.Accounts = accountsOf(h.Accounts); back.Accounts[1].Sigma > 0 {
		back.Same = sameStream
	}
	if back.From.Has(bank.Crowd) {
		j.crowds = air.Since(h.At)
	}
	if h.Stream {
		back.Stream, back.Lateness, back.Same = true, h.LatenessS, sameStream
	}
	// The hardware clock was compared with this very time: it is no second word, and is
	// compared again. Its rate stands.
	if l := j.clock.Forget(); l != nil {
		back.ClockRate, back.ClockRateSigma = l.RatePPM*1e-6, math.Hypot(l.RateSigmaPPM*1e-6, rateSlack)
	}
	j.bank.Resume(&back)
	j.warm.Restart(j.learned.Temperature.Kept(j.warm.Sensor))
	if spoke {
		j.RTC(&j.first)
	}
	j.note(now, "started", "The time is held over from before noonmark was started again.")
}

// fromRules adds what an earlier version kept of its doubts, which it did not weigh: whom it
// doubted, and where UTC is if they are right.
func fromRules(h *clockcheck.Held, back *bank.Held) {
	for _, d := range h.Doubts {
		back.Doubts = append(back.Doubts, bank.Doubted{Whom: doubtedOf([]string{rulesName(d.Kind)})})
		back.Lo, back.Hi = math.Min(back.Lo, d.LoS), math.Max(back.Hi, d.HiS)
	}
	if h.NoProof { // the receiver had left its own stream
		back.Doubts = append(back.Doubts, bank.Doubted{Whom: bank.SetOf(bank.Receiver)})
	}
}

// rulesName is the name here of a kind of source that an earlier version doubted.
func rulesName(kind string) string {
	switch kind {
	case "rtc":
		return "clock"
	case "mark":
		return "operator"
	}
	return kind
}

// latencies is the kept list with the present receiver's entry renewed: as it is proved, or
// told loosely where it never was; or with the doubt there is that it is another by now.
func (j *Judge) latencies() []clockcheck.LearnedLatency {
	if j.rx.Key == "" || !j.rx.Steady() || j.cfg.Latency > 0 {
		return j.learned.Latencies
	}
	old, had := j.kept(j.rx.Key)
	proved := j.bank.Proved()
	d, sigma, leap := j.bank.Lateness()
	loose := proved.Second && !proved.Lateness && sigma < looseMost && j.bank.LatenessTold() && (!had || old.Loose)
	if !proved.Lateness && !loose {
		doubt, met := j.bank.LatenessDoubt(old.LatencyS, old.SigmaS)
		if !had || !met {
			return j.learned.Latencies
		}
		old.DoubtNats = doubt
		return j.withLatency(&old)
	}
	me := clockcheck.LearnedLatency{Key: j.rx.Key, LatencyS: d, SigmaS: sigma, Loose: loose, LeapS: math.Max(leap, old.LeapS), Edge: j.pulse.Edge()}
	if had && me.Edge == "" {
		me.Edge, me.EdgeOpenS = old.Edge, old.EdgeOpenS
	}
	return j.withLatency(&me)
}

// nearlyProved is the list for the next run, and in it a lateness that was told closely, but is not proved: the few accounts in
// which it is another are just likely enough to count. Within this run they go on themselves, and would pay for that
// twice. Of its pulse no edge is kept: the second is not proved.
func (j *Judge) nearlyProved(l []clockcheck.LearnedLatency) []clockcheck.LearnedLatency {
	d, sigma, doubt, ok := j.bank.LatenessOfBest()
	if _, had := latencyOf(l, j.rx.Key); had || !ok || j.rx.Key == "" || !j.rx.Steady() || j.cfg.Latency > 0 {
		return l
	}
	return j.withLatency(&clockcheck.LearnedLatency{Key: j.rx.Key, LatencyS: d, SigmaS: sigma, DoubtNats: doubt})
}

// withLatency is the kept list with an entry in its place, as the newest.
func (j *Judge) withLatency(me *clockcheck.LearnedLatency) []clockcheck.LearnedLatency {
	out := []clockcheck.LearnedLatency{*me}
	for _, l := range j.learned.Latencies {
		if l.Key != j.rx.Key && len(out) < maxLatencies {
			out = append(out, l)
		}
	}
	return out
}

func (j *Judge) kept(key string) (clockcheck.LearnedLatency, bool) {
	return latencyOf(j.learned.Latencies, key)
}

// latencyOf finds what is kept under a key.
func latencyOf(all []clockcheck.LearnedLatency, key string) (clockcheck.LearnedLatency, bool) {
	for _, l := range all {
		if l.Key == key && key != "" {
			return l, true
		}
	}
	return clockcheck.LearnedLatency{}, false
}

// setOf reads a kept set back. Servers of an earlier run are one: which of them it was
// no longer matters.
func setOf(names []string) (s bank.Set) {
	for _, n := range names {
		switch {
		case n == "receiver":
			s |= bank.SetOf(bank.Receiver)
		case n == "server":
			s |= bank.SetOf(bank.Before)
		case n == "clock":
			s |= bank.SetOf(bank.Clock)
		case n == "air":
			s |= bank.SetOf(bank.Crowd)
		case n == "operator":
			s |= bank.SetOf(bank.Ear)
		default:
			s |= bank.SetOf(bank.Borrowed)
		}
	}
	return s
}
