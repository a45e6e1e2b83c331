package clockcheck

import (
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

// LearnedLatency is the arrival latency of one receiver in one configuration, proved or with what is open of it.
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
	// that.
	DoubtNats float64 `json:"doubt_nats,omitempty"`
	Loose     bool    `json:"loose,omitempty"` // told, but not as closely as it takes to prove it
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
	Doubted      []DoubtedSet  `json:"doubted_sets,omitempty"` // see Held
	// Kept by builds before December 2026: all who were doubted, by whomever.
	WasDoubted []string `json:"doubted,omitempty"`
	DoubtNats  float64  `json:"doubt_nats,omitempty"`
	// Where nothing but the kernel's own writes sets it: RTC − UTC after them.
	KernelS       float64 `json:"kernel_s,omitzero"`
	KernelSpreadS float64 `json:"kernel_spread_s,omitzero"`
	KernelReads   int     `json:"kernel_reads,omitzero"`  // 0 = not measured
	KernelWrites  int     `json:"kernel_writes,omitzero"` // that it stood still over
	// The accounts that it was compared by; none where there is but one. All together are what is said above.
	Accounts []HeldAccount `json:"accounts,omitempty"`
	// The computer's temperature at At, by this thermometer; "" = none.
	Sensor string  `json:"sensor,omitzero"`
	TempC  float64 `json:"temp_c,omitzero"`
}

// LearnedTemperature is how the oscillator's rate changes with what one thermometer
// shows.
type LearnedTemperature struct {
	Sensor  string  `json:"sensor"`
	AtC     float64 `json:"at_c"` // °C, at which the kept rate holds
	PPMPerC float64 `json:"ppm_per_c"`
	Sigma   float64 `json:"sigma_ppm_per_c"` // 0 = not learned
	LoC     float64 `json:"lo_c"`            // it was learned from here
	HiC     float64 `json:"hi_c"`            // … to here
}

// Kept is what is kept of one thermometer, for thermal.New; of none of ours, nothing.
func (l *LearnedTemperature) Kept(sensor string) (k thermal.Kept) {
	if l == nil || l.Sensor == "" || l.Sensor != sensor {
		return k
	}
	k = thermal.Kept{Rate: true, AtC: l.AtC, PerC: l.PPMPerC * 1e-6, Sigma: l.Sigma * 1e-6, LoC: l.LoC, HiC: l.HiC}
	if !k.Sound() {
		return thermal.Kept{}
	}
	return k
}

// Keep is what is worth keeping of a thermometer; rate: the oscillator's rate is kept as it
// is now, and holds at the temperature of now.
func (l *LearnedTemperature) Keep(t *thermal.Thermometer, rate bool) *LearnedTemperature {
	old := l.Kept(t.Sensor)
	if !t.Have || !old.Rate && !rate {
		return l
	}
	out := &LearnedTemperature{Sensor: t.Sensor, AtC: t.C, LoC: t.C, HiC: t.C}
	if old.Rate && !rate {
		out.AtC = old.AtC
	}
	if k, ok := t.Keep(); ok {
		out.PPMPerC, out.Sigma, out.LoC, out.HiC = k.PerC*1e6, k.Sigma*1e6, k.LoC, k.HiC
	}
	return out
}
