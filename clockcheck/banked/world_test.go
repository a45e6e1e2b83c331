package banked

import (
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// long asks for the long worlds whole: a step of .ci/run.
var long = os.Getenv("NOONMARK_LONG") != ""

// first is the first n of all, and all where the long worlds are asked for.
func first[T any](all []T, n int) []T {
	if long {
		return all
	}
	return all[:min(n, len(all))]
}

// count is n, or all where the long worlds are asked for.
func count(n, all uint64) uint64 {
	if long {
		return all
	}
	return n
}

// world is a truth to judge against: an oscillator, a receiver, an RTC and a
// system clock, at the level of readings. Its parameters are its own.
type world struct {
	t       *testing.T
	j       *Judge
	rng     *rand.Rand
	local   timescale.Local
	utc     timescale.UTC
	ppm     float64 // the oscillator gains so much on UTC
	sys     float64 // s: system clock − UTC
	latency float64 // s
	jitter  float64 // s
	lie     float64 // s, added to what the receiver says
	drag    float64 // s of lie a second
	valid   bool
	mute    bool
	noDate  bool
	rtcOff  float64 // s: RTC − UTC
	rtcPPM  float64
	rtcOn   bool
	pulse   pulseLine
	got     clockcheck.Judgement
	falseS  int // seconds of false within
	missed  int // seconds in which error ± guard did not hold the truth
	seen    map[clockcheck.Verdict]int
}

// untilProved is so long that a receiver alone has proved its second.
const untilProved = 32 * time.Minute

var testFloor = timescale.UTCOf(time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC))

func newWorld(t *testing.T, learned clockcheck.Learned) *world {
	ft8, _ := clockcheck.ModeNamed("FT8")
	ft4, _ := clockcheck.ModeNamed("FT4")
	w := &world{t: t, rng: rand.New(rand.NewPCG(1, 2)), local: 5e9, valid: true,
		utc: timescale.UTCOf(time.Date(2031, 2, 3, 22, 5, 6, 250e6, time.UTC)),
		ppm: 12, latency: 0.18, jitter: 0.008, seen: map[clockcheck.Verdict]int{}}
	w.begin(clockcheck.Config{Floor: testFloor, Modes: []clockcheck.Mode{ft8, ft4}}, learned)
	return w
}

// newClocked is a start beside a hardware clock that servers told three hours ago, to 10 ms, and that has just been read.
func newClocked(t *testing.T) *world {
	w := newWorld(t, clockcheck.Learned{})
	w.j.cfg.RTCCompensated = true
	w.j = New(w.j.cfg, clockcheck.Learned{RTC: &clockcheck.LearnedRTC{At: w.utc.Add(-3 * time.Hour), SigmaS: 0.01, RateSigmaPPM: 0.1, DateProved: true,
		Ancestry: []string{"server"}}})
	w.j.ReceiverOpened("r1", clockcheck.Serial)
	w.rtcOn = true
	w.to(w.utc.Add(time.Second))
	w.readRTC()
	return w
}

// begin starts the program, with the receiver open.
func (w *world) begin(cfg clockcheck.Config, learned clockcheck.Learned) {
	w.j = New(cfg, learned)
	w.j.ReceiverOpened("r1", clockcheck.Serial)
}

// run lets d pass at one epoch and one judgement a second.
func (w *world) run(d time.Duration) {
	w.t.Helper()
	for range int(d.Seconds()) {
		w.second()
	}
}

func (w *world) second() {
	next := timescale.UTC((int64(w.utc)/1e9 + 1) * 1e9)
	w.to(next)
	w.pulse.second(w)
	w.lie += w.drag
	if w.rtcOn {
		w.readRTC()
	}
	arrive := w.latency + math.Abs(w.rng.NormFloat64())*w.jitter
	w.to(next.Add(time.Duration(arrive * 1e9)))
	if !w.mute {
		said := next.Add(time.Duration(w.lie * 1e9)).Time()
		g := clockcheck.GNSS{At: w.local, Year: said.Year(), Month: int(said.Month()), Day: said.Day(),
			TimeOfDay: said.Sub(said.Truncate(24 * time.Hour)), Valid: w.valid, Satellites: 9}
		if w.noDate {
			g.Year, g.Month, g.Day = 0, 0, 0
		}
		w.j.GNSS(&g)
	}
	w.judge()
}

// readRTC gives the judge the edge of the RTC's second before now.
func (w *world) readRTC() {
	shown := int64(w.utc) + int64(w.rtcOff*1e9)
	back := shown % 1e9
	edge := w.local - timescale.Local(float64(back)*(1+w.ppm*1e-6))
	w.j.RTC(&clockcheck.RTC{Edge: edge, Sigma: 500 * time.Microsecond, Value: timescale.UTC(shown - back)})
}

// to moves the true time on.
func (w *world) to(utc timescale.UTC) {
	d := float64(utc.Sub(w.utc))
	w.local += timescale.Local(d * (1 + w.ppm*1e-6))
	w.rtcOff += w.rtcPPM * 1e-6 * d / 1e9
	w.utc = utc
}

func (w *world) judge() {
	w.j.Judge(w.local, w.utc.Add(time.Duration(w.sys*1e9)), &w.got)
	g := &w.got
	if g.Guarded && math.Abs(g.Error-w.sys) > g.Guard {
		w.missed++
	}
	for _, m := range g.Modes {
		if m.Verdict == clockcheck.Within && math.Abs(w.sys) > m.Mode.Tolerance.Seconds() {
			w.falseS++
		}
	}
	w.seen[g.Modes[0].Verdict]++
}

// ask has the servers answer for half an hour, off by so much each, the first-th first.
func (w *world) ask(servers []clockcheck.Network, off []time.Duration, first int) {
	for range 30 {
		for i := range servers {
			k := (first + i) % len(servers)
			servers[k].At, servers[k].UTC = w.local, w.utc.Add(off[k])
			w.j.Network(&servers[k])
		}
		w.run(64 * time.Second)
	}
}

// honest fails the test if ever the truth was missed or within was false.
func (w *world) honest() {
	w.t.Helper()
	if w.falseS > 0 || w.missed > 0 {
		w.t.Fatalf("%d s of false within, %d s in which error ± guard missed the truth (%+v, sys %v)", w.falseS, w.missed, w.got, w.sys)
	}
}

func (w *world) want(v clockcheck.Verdict, b clockcheck.Basis) {
	w.t.Helper()
	if got := w.got.Modes[0].Verdict; got != v || w.got.Basis != b {
		w.t.Fatalf("FT8 is %q by %q, want %q by %q\nerror %.3f guard %.3f: %s\nreceiver %s: %s",
			got, w.got.Basis, v, b, w.got.Error, w.got.Guard, w.got.Because, w.got.References[0].Trust, w.got.References[0].Because)
	}
}

// reference finds what is said of a reference, by its kind.
func (w *world) reference(kind string) clockcheck.Reference {
	for _, r := range w.got.References {
		if r.Kind == kind {
			return r
		}
	}
	return clockcheck.Reference{}
}

func (w *world) proved(what string) bool { return slices.Contains(w.got.Proved, what) }

// rate is that of UTC on the local timescale by the best explanation, ppm, and its σ.
func (w *world) rate() (ppm, sigma float64) {
	f := &w.j.bank.Best().F
	return f.V[estimate.Y] * 1e6, f.Sigma(estimate.Y) * 1e6
}

// comparedWorld goes on from a run, in the same boot, that knew the oscillator's rate closely and UTC to 0.1 s, and
// was compared with a server an hour ago.
func comparedWorld(t *testing.T) *world {
	w := newWorld(t, clockcheck.Learned{})
	w.begin(w.j.cfg, clockcheck.Learned{Held: &clockcheck.Held{At: w.local, OffsetNS: int64(w.utc) - int64(w.local), SigmaS: 0.1, RatePPM: -12,
		RateSigmaPPM: 1.1, DateProved: true, Ancestry: []string{"server"}, Confirmed: w.local}})
	w.j.Resume(w.local)
	w.run(10 * time.Second)
	w.j.Network(&clockcheck.Network{Server: "192.0.2.1", At: w.local, UTC: w.utc, Bound: 5 * time.Millisecond})
	w.run(time.Hour)
	return w
}

// latencyKnown starts again with the latency in the settings.
func (w *world) latencyKnown() {
	cfg := w.j.cfg
	cfg.Latency = 180 * time.Millisecond
	w.begin(cfg, clockcheck.Learned{})
}
