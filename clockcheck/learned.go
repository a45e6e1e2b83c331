package clockcheck

import (
	"math"
	"slices"
	"strings"

	"noonmark/clockcheck/thermal"
	"noonmark/clockcheck/timescale"
)

// Learned is what a judge knows that is worth keeping over a power-off. It holds
// nothing that a receiver must prove anew.
type Learned struct {
	RatePPM      float64          `json:"rate_ppm"`       // UTC gains on the local timescale
	RateSigmaPPM float64          `json:"rate_sigma_ppm"` // 0 = never learned
	Latencies    []LearnedLatency `json:"latencies"`
	Starts       []LearnedStarts  `json:"starts,omitempty"`
	RTC          *LearnedRTC      `json:"rtc,omitempty"`
	Held         *Held            `json:"held,omitempty"`
	// How the rate changes with the temperature; nil = no thermometer.
	Temperature *LearnedTemperature `json:"temperature,omitempty"`
	// What would be known without the newest mark; nil = none can be taken back. No judge
	// reads it: see package station.
	Without *WithoutMark `json:"without_mark,omitempty"`
}

// WithoutMark is what a judge that did not hear a mark knows.
type WithoutMark struct {
	Name    string          `json:"name"` // of the mark, as a reference
	At      timescale.Local `json:"at_local_ns"`
	Learned Learned         `json:"learned"`
}

// Held is what would be worth taking up again without the mark, nil if nothing is.
func (w *WithoutMark) Held() *Held {
	if w == nil {
		return nil
	}
	return w.Learned.Held
}

// LearnedLatency is a proved arrival latency of one receiver in one configuration.
type LearnedLatency struct {
	Key      string  `json:"key"`
	LatencyS float64 `json:"latency_s"`
	SigmaS   float64 `json:"sigma_s"`
	// The edge of its pulse that is the second, "" = not learned, and by how much a
	// pulse that short may be taken by its wrong edge all the same.
	Edge      string  `json:"edge,omitzero"`
	EdgeOpenS float64 `json:"edge_open_s,omitzero"`
	LeapS     float64 `json:"leap_s,omitempty"` // largest leap seen
	// How unlikely it is that the lateness is another by now, nats; 0 = nothing spoke for
	// that. The judge of rules keeps none.
	DoubtNats float64 `json:"doubt_nats,omitempty"`
}

// doubtful, nats: −ln of the 1 % that the reported bound leaves out.
const doubtful = 4.6

// sure tells whether a run of the program begins with that lateness as a known one.
func (l *LearnedLatency) sure() bool {
	return l.LeapS == 0 && !(l.DoubtNats > 0 && l.DoubtNats < doubtful)
}

// LearnedRTC is the last comparison of the hardware clock with UTC.
type LearnedRTC struct {
	At           timescale.UTC `json:"at_utc_ns"`
	OffsetS      float64       `json:"offset_s"` // RTC − UTC at At
	SigmaS       float64       `json:"sigma_s"`
	RatePPM      float64       `json:"rate_ppm"` // the RTC gains on UTC
	RateSigmaPPM float64       `json:"rate_sigma_ppm"`
	DateProved   bool          `json:"date_proved"`
	SecLo        int           `json:"second_lo"` // whole-second hypotheses not ruled out
	SecHi        int           `json:"second_hi"`
	Written      bool          `json:"written_by_others"` // something else sets this clock
	Ancestry     []string      `json:"ancestry"`
	Doubted      []string      `json:"doubted,omitempty"` // see Held
	DoubtNats    float64       `json:"doubt_nats,omitempty"`
	// Where nothing but the kernel's own writes sets it: RTC − UTC after them.
	KernelS       float64 `json:"kernel_s,omitzero"`
	KernelSpreadS float64 `json:"kernel_spread_s,omitzero"`
	KernelReads   int     `json:"kernel_reads,omitzero"` // 0 = not measured
	// The computer's temperature at At, by this thermometer; "" = none.
	Sensor string  `json:"sensor,omitzero"`
	TempC  float64 `json:"temp_c,omitzero"`
}

const maxLatencies = 8 // the newest are kept

// Learned returns what is worth keeping now. While references disagree, the RTC's
// last good comparison stands.
func (j *Judge) Learned() Learned {
	out := j.learned
	sy := j.f.sigma(sY) * 1e6
	rate := j.x.known && sy < 5
	if rate {
		out.RatePPM, out.RateSigmaPPM = j.f.v[sY]*1e6, sy
	}
	out.Temperature = j.learned.Temperature.Keep(&j.warm, rate)
	out.Latencies = j.latencies()
	if c := &j.rtc; c.moved() {
		out.RTC = nil
	} else if c.attached && j.x.known && !j.opposed() && j.f.sigma(sR) < 30 {
		anc := j.x.ancestry
		if j.x.secAlone { // whoever else was asked did not speak for the second
			anc = ancReceiver
		}
		out.RTC = &LearnedRTC{
			At:      timescale.UTC(int64(j.f.at) + j.f.base + int64(j.f.v[sX]*1e9)),
			OffsetS: float64(c.base)/1e9 + j.f.v[sR], SigmaS: math.Max(math.Sqrt(j.f.p[sR][sR]+j.common(latencyFloor)), j.hull()),
			RatePPM: j.f.v[sS] * 1e6, RateSigmaPPM: j.f.sigma(sS) * 1e6,
			DateProved: j.x.dateProved, SecLo: j.x.secLo, SecHi: j.x.secHi,
			Written: c.setSeen || c.kernel, Ancestry: j.ancestryNames(anc),
		}
		if w := &j.warm; w.Have && j.f.at.Sub(w.Heard) < thermal.BlockLasts {
			out.RTC.Sensor, out.RTC.TempC = w.Sensor, w.C
		}
		if a := c.after; !c.setSeen {
			out.RTC.KernelS, out.RTC.KernelSpreadS, out.RTC.KernelReads = a.mean, a.spread, a.n
		}
	}
	out.Held = j.hold()
	return out
}

// hull is what is open of x besides its covariance, as 1σ in s.
func (j *Judge) hull() float64 {
	hull := math.Max(-j.x.open.lo, j.x.open.hi) / 2
	if j.rx.attached && j.rx.latencyBy == "" && j.x.support != supportPulse && j.receiverCarries() {
		lo, hi := j.rx.places.reach()
		hull = math.Max(hull, (j.rx.link.latencyMax()+hi-lo)/3)
	}
	return hull
}

// latencies is the kept list with the present receiver's entry renewed.
func (j *Judge) latencies() []LearnedLatency {
	if !j.rx.attached || j.rx.latencyBy == "" || j.rx.latencyBy == "configured" || j.rx.key == "" {
		return j.learned.Latencies
	}
	me := LearnedLatency{Key: j.rx.key, LatencyS: j.f.v[sD], SigmaS: math.Hypot(j.f.sigma(sD), (j.x.open.hi-j.x.open.lo)/2), LeapS: j.rx.leap}
	me.Edge, me.EdgeOpenS = j.pps.learnedEdge()
	if old, ok := j.learnedLatency(me.Key); ok && me.Edge == "" {
		me.Edge, me.EdgeOpenS = old.Edge, old.EdgeOpenS
	}
	out := []LearnedLatency{me}
	for _, l := range j.learned.Latencies {
		if l.Key != j.rx.key && len(out) < maxLatencies {
			out = append(out, l)
		}
	}
	return out
}

func (j *Judge) learnedLatency(key string) (LearnedLatency, bool) {
	for _, l := range j.learned.Latencies {
		if l.Key == key && key != "" {
			return l, true
		}
	}
	return LearnedLatency{}, false
}

// opposed tells whether an undefeated reference says something else.
func (j *Judge) opposed() bool {
	if j.receiverOpposes() || j.rtc.fault == fDisagrees || j.pps.opposes ||
		slices.ContainsFunc(j.marks[:], func(m marked) bool { return j.markOpposes(&m) }) {
		return true
	}
	for i := range j.servers[:j.nServer] {
		if s := &j.servers[i]; !s.agrees && !s.outvoted {
			return true
		}
	}
	return false
}

// ancestryNames spells a set out; ancestryOf reads it back. Servers of an
// earlier run are one ancestry: which of them it was no longer matters.
func (j *Judge) ancestryNames(a ancestry) []string {
	names := []string{}
	if a&ancReceiver != 0 {
		names = append(names, "receiver")
	}
	if a&^ancAir >= ancServer {
		names = append(names, "server")
	}
	if a&ancOperator != 0 {
		names = append(names, "operator")
	}
	if a&ancAir != 0 {
		names = append(names, "air")
	}
	if a&ancUnknown != 0 {
		names = append(names, "unknown")
	}
	return names
}

func (j *Judge) ancestryOf(names []string) ancestry {
	var a ancestry
	for _, n := range names {
		switch {
		case n == "receiver":
			a |= ancReceiver
		case strings.HasPrefix(n, "server"):
			a |= ancServer << maxServers
		case n == "operator":
			a |= ancOperator
		case n == "air": // the crowd or a station: of an earlier run both
			a |= ancAir
		default:
			a |= ancUnknown
		}
	}
	return a
}
