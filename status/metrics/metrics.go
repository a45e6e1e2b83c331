// Package metrics writes a snapshot as OpenMetrics text, for programs that record
// numbers over time. A Snapshot comes in, text goes out; nothing is kept.
//
// Names carry base units (seconds, meters, ratios), as OpenMetrics 1.0 asks: the
// unit is the end of the family's name, counters end in _total, # EOF is the last
// line (https://prometheus.io/docs/specs/om/open_metrics_spec/). What is not known
// has no sample. A state is a family of 0 and 1, a sample for each word, so that
// "how long" and "how often" can be asked. Coordinates are left out: a place is no
// time series, and recorded numbers travel further than meant.
package metrics

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"noonmark/status"
)

// ContentType is that of the text.
const ContentType = "application/openmetrics-text; version=1.0.0; charset=utf-8"

// The words of each state.
var (
	bases = []string{status.BasisPPS, status.BasisGNSS, status.BasisNetwork, status.BasisOperator, status.BasisRTC,
		status.BasisHoldover, status.BasisNone}
	verdicts  = []string{status.Within, status.Outside, status.Borderline, status.Unknown}
	trusts    = []string{status.Silent, status.Warming, status.Trusted, status.Doubted, status.Faulty}
	batteries = []string{status.BatteryGood, status.BatteryLow, status.BatteryEmpty}
)

// Text is s as OpenMetrics text.
func Text(s *status.Snapshot) []byte {
	w := &writer{out: make([]byte, 0, 8<<10)}
	about(w, s)
	clock(w, s.Clock)
	modes(w, s.Modes)
	references(w, s.References)
	position(w, s.Position)
	receiver(w, s.Receiver)
	sharing(w, s.Sharing)
	air(w, s.Air)
	timeService(w, s.TimeService)
	return append(w.out, "# EOF\n"...)
}

func about(w *writer, s *status.Snapshot) {
	w.family("noonmark_live", "gauge", "", "1 if the clock judged is this machine's own, now; 0 in a simulation.")
	w.sample(flag(s.Live))
	w.family("noonmark_status_boottime_seconds", "gauge", "seconds", "When this was judged, on the machine's boot clock.")
	w.sample(s.Written.BoottimeS)
}

func clock(w *writer, c status.Clock) {
	w.family("noonmark_clock_error_seconds", "gauge", "seconds", "System clock minus UTC; positive = the clock is fast.")
	w.float(c.ErrorS, 1)
	w.family("noonmark_clock_bound_seconds", "gauge", "seconds", "Half-width of the 99 % interval around the error.")
	w.float(c.BoundS, 1)
	w.family("noonmark_clock_guard_seconds", "gauge", "seconds", "Half-width around the error that verdicts use.")
	w.float(c.GuardS, 1)
	w.family("noonmark_clock_rate_ratio", "gauge", "ratio", "What the computer's oscillator gains on its own: seconds a second.")
	w.float(c.RatePPM, 1e-6)
	w.family("noonmark_clock_rate_bound_ratio", "gauge", "ratio", "Half-width of the 99 % interval around the rate.")
	w.float(c.RateBoundPPM, 1e-6)
	w.family("noonmark_clock_present_rate_ratio", "gauge", "ratio", "What the clock gains at present, corrections under way included: seconds a second.")
	w.float(c.ClockRatePPM, 1e-6)
	w.family("noonmark_clock_basis", "gauge", "", "What the estimate stands on: 1 for the basis in use.")
	w.states("basis", c.Basis, bases)
}

func modes(w *writer, all []status.Mode) {
	all = unique(all, func(m status.Mode) string { return m.Mode })
	each := func(name, unit, help string, value func(m status.Mode) status.Float) {
		w.family(name, "gauge", unit, help)
		for _, m := range all {
			w.float(value(m), 1, "mode", m.Mode)
		}
	}
	w.family("noonmark_mode_verdict", "gauge", "", "Is the clock within the mode's tolerance: 1 for the verdict.")
	for _, m := range all {
		w.states("verdict", m.Verdict, verdicts, "mode", m.Mode)
	}
	each("noonmark_mode_tolerance_seconds", "seconds", "Largest error of the clock that the mode works with.",
		func(m status.Mode) status.Float { return status.Known(m.ToleranceS) })
	each("noonmark_mode_margin_seconds", "seconds", "Tolerance minus error and guard.",
		func(m status.Mode) status.Float { return m.MarginS })
	each("noonmark_mode_good_for_seconds", "seconds", "How long the verdict lasts if no reading ever comes again.",
		func(m status.Mode) status.Float { return m.GoodForS })
	each("noonmark_mode_in_use", "", "1 for the mode that the operator works.",
		func(m status.Mode) status.Float { return status.Known(flag(m.InUse)) })
}

func references(w *writer, all []status.Reference) {
	all = unique(all, func(r status.Reference) string { return r.Name })
	w.family("noonmark_reference_trust", "gauge", "", "Trust in a reference: 1 for what it has.")
	for _, r := range all {
		w.states("trust", r.Trust, trusts, "reference", r.Name, "kind", r.Kind)
	}
	each := func(name, help string, value func(r status.Reference) status.Float) {
		w.family(name, "gauge", "seconds", help)
		for _, r := range all {
			w.float(value(r), 1, "reference", r.Name, "kind", r.Kind)
		}
	}
	each("noonmark_reference_error_seconds", "System clock minus UTC by this reference alone.",
		func(r status.Reference) status.Float { return r.ErrorS })
	each("noonmark_reference_bound_seconds", "Half-width of the interval around what it says.",
		func(r status.Reference) status.Float { return r.BoundS })
	each("noonmark_reference_age_seconds", "Since its last reading.",
		func(r status.Reference) status.Float { return r.AgeS })
	w.family("noonmark_rtc_battery", "gauge", "", "What the hardware clock's chip says of its battery: 1 for its state.")
	for _, r := range all {
		if r.Battery != "" {
			w.states("state", r.Battery, batteries, "reference", r.Name)
		}
	}
}

func position(w *writer, p *status.Position) {
	if p == nil {
		return
	}
	w.family("noonmark_position_bound_meters", "gauge", "meters", "Radius of the 99 % circle around the place.")
	w.float(p.BoundM, 1)
	w.family("noonmark_position_age_seconds", "gauge", "seconds", "Since the fix that the place comes from.")
	w.float(p.AgeS, 1)
	w.family("noonmark_position_satellites", "gauge", "", "Satellites that the fix uses.")
	w.float(p.Satellites, 1)
	w.family("noonmark_position_kept", "gauge", "", "1 while there was no fix since the start: where the station was before.")
	w.sample(flag(p.Kept))
	w.family("noonmark_position_moving", "gauge", "", "1 while the station moves.")
	w.sample(flag(p.Moving))
}

func receiver(w *writer, r *status.Receiver) {
	if r == nil {
		return
	}
	w.family("noonmark_receiver_sentences", "counter", "", "Sentences taken since the receiver's port was opened.")
	w.sample(float64(r.Sentences))
	w.family("noonmark_receiver_skipped", "counter", "", "Lines not taken, by reason.")
	reasons := make([]string, 0, len(r.Skipped))
	for reason := range r.Skipped {
		reasons = append(reasons, reason)
	}
	slices.Sort(reasons)
	for _, reason := range unique(reasons, func(s string) string { return s }) {
		w.sample(float64(r.Skipped[reason]), "reason", reason)
	}
	w.family("noonmark_receiver_epochs", "counter", "", "Epochs: all sentences of the receiver for one instant.")
	w.sample(float64(r.Epochs))
	w.family("noonmark_receiver_valid_epochs", "counter", "", "Epochs that the receiver itself calls valid.")
	w.sample(float64(r.EpochsValid))
}

func sharing(w *writer, h *status.Sharing) {
	if h == nil {
		return
	}
	w.family("noonmark_sharing_readers", "gauge", "", "Programs that read the receiver's sentences now.")
	w.sample(float64(h.Readers))
	w.family("noonmark_sharing_lines", "counter", "", "Lines passed on to other programs.")
	w.sample(float64(h.Lines))
	w.family("noonmark_sharing_lost_lines", "counter", "", "Lines that readers were too slow for.")
	w.sample(float64(h.Lost))
}

// air is what the radio's sound told.
func air(w *writer, a *status.Air) {
	if a == nil {
		return
	}
	w.family("noonmark_air_error_seconds", "gauge", "seconds", "System clock minus UTC by what the radio heard alone.")
	w.float(a.ErrorS, 1)
	w.family("noonmark_air_bound_seconds", "gauge", "seconds", "Half-width of the 99 % interval around it.")
	w.float(a.BoundS, 1)
	w.family("noonmark_air_age_seconds", "gauge", "seconds", "Since it was heard.")
	w.float(a.AgeS, 1)
	w.family("noonmark_air_signals", "gauge", "", "Signals of other stations that agree.")
	w.sample(float64(a.Signals))
}

func timeService(w *writer, t *status.TimeService) {
	if t == nil {
		return
	}
	each := func(name, help string, n int64) {
		w.family(name, "counter", "", help)
		w.sample(float64(n))
	}
	each("noonmark_time_service_answered_questions", "Questions of other devices answered, with the time or without.", t.Answered)
	each("noonmark_time_service_limited_questions", "Questions of devices that ask too often: told so, or not answered.", t.Limited)
	each("noonmark_time_service_dropped_questions", "Questions that could not be dated, or their answer not sent.", t.Dropped)
	each("noonmark_time_service_ignored_packets", "Packets that were no question.", t.Ignored)
}

// unique leaves out what has the key of an earlier one, as the text will spell it:
// a series may appear once.
func unique[T any](all []T, key func(T) string) []T {
	seen := make(map[string]bool, len(all))
	out := make([]T, 0, len(all))
	for _, v := range all {
		if k := utf8(key(v)); !seen[k] {
			seen[k] = true
			out = append(out, v)
		}
	}
	return out
}

// utf8 makes s valid: the text must be.
func utf8(s string) string { return strings.ToValidUTF8(s, "?") }

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// A writer puts one family after the other.
type writer struct {
	out  []byte
	name string // of the family's samples
}

// family begins a family; its samples follow.
func (w *writer) family(name, kind, unit, help string) {
	w.out = append(w.out, "# TYPE "+name+" "+kind+"\n"...)
	if unit != "" {
		w.out = append(w.out, "# UNIT "+name+" "+unit+"\n"...)
	}
	w.out = append(w.out, "# HELP "+name+" "+help+"\n"...)
	w.name = name
	if kind == "counter" {
		w.name += "_total"
	}
}

var escape = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`)

// sample writes a value; labels are names and values in turn.
func (w *writer) sample(v float64, labels ...string) {
	w.out = append(w.out, w.name...)
	for i := 0; i+1 < len(labels); i += 2 {
		w.out = append(w.out, "{,"[min(i, 1)])
		w.out = append(w.out, labels[i]+`="`+escape.Replace(utf8(labels[i+1]))+`"`...)
	}
	if len(labels) > 0 {
		w.out = append(w.out, '}')
	}
	w.out = strconv.AppendFloat(append(w.out, ' '), v, 'g', -1, 64)
	w.out = append(w.out, '\n')
}

// float writes f, times scale, if it is known.
func (w *writer) float(f status.Float, scale float64, labels ...string) {
	if v := f.V * scale; f.OK && !math.IsNaN(v) && !math.IsInf(v, 0) {
		w.sample(v, labels...)
	}
}

// states writes a 1 for the word that is, and a 0 for the others. A word that is
// none of them is written too: better than all at 0.
func (w *writer) states(label, is string, words []string, labels ...string) {
	if !slices.Contains(words, is) {
		words = append(slices.Clone(words), is)
	}
	for _, word := range words {
		w.sample(flag(word == is), append(slices.Clone(labels), label, word)...)
	}
}
