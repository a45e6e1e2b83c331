package clockcheck

import (
	"math"

	"noonmark/clockcheck/timescale"
)

// Held is what was known of UTC − local when a run of the program ended. The local
// timescale does not stop with the program: where it has run on since, in the same boot
// and without a sleep, the next run goes on from there as through a silence.
type Held struct {
	BootID       string          `json:"boot_id"`  // of the station's
	AsleepS      float64         `json:"asleep_s"` // likewise: time slept since the boot
	At           timescale.Local `json:"at_local_ns"`
	OffsetNS     int64           `json:"offset_ns"` // UTC − local at At
	SigmaS       float64         `json:"sigma_s"`
	RatePPM      float64         `json:"rate_ppm"` // UTC gains on the local timescale
	RateSigmaPPM float64         `json:"rate_sigma_ppm"`
	DateProved   bool            `json:"date_proved"`
	SecLo        int             `json:"second_lo"` // whole-second hypotheses not ruled out
	SecHi        int             `json:"second_hi"`
	SecAlone     bool            `json:"second_alone"` // the receiver alone speaks for the second
	Ancestry     []string        `json:"ancestry"`
	Confirmed    timescale.Local `json:"confirmed_local_ns"` // the newest reading that took part
	// How late the receiver's stream was against the estimate, s, if Stream. The estimate
	// may be far less well known, where nobody proved that latency.
	Stream bool `json:"stream"`
	// Doubted names whom some explanation still took to be false (package banked only).
	Doubted   []string `json:"doubted,omitempty"`
	LatenessS float64  `json:"lateness_s"`
}

// sameStream: a stream that is as late as that of the run before, s.
const sameStream = 0.1

// hold is what is worth taking up again; nothing while references disagree.
func (j *Judge) hold() *Held {
	if !j.x.known || j.opposed() {
		return nil
	}
	// The views of led part by so much: either may be right.
	sigma := math.Max(math.Sqrt(j.f.p[sX][sX]+j.common(latencyFloor)), j.hull()) + math.Abs(j.led.apart)
	stream := j.rx.link.steady() && j.rx.attached && j.rx.ahead == 0 && (j.rx.fault == fNone || j.rx.fault == fScatter)
	return &Held{Stream: stream, LatenessS: j.f.v[sD], At: j.f.at, OffsetNS: j.f.base + int64(j.f.v[sX]*1e9), SigmaS: sigma,
		RatePPM: j.f.v[sY] * 1e6, RateSigmaPPM: j.f.sigma(sY) * 1e6, DateProved: j.x.dateProved,
		SecLo: j.x.secLo, SecHi: j.x.secHi, SecAlone: j.x.secAlone, Ancestry: j.ancestryNames(j.x.ancestry),
		Confirmed: j.confirmed()}
}

// confirmed is the instant of the newest reading that took part.
func (j *Judge) confirmed() timescale.Local {
	return max(j.x.gnssAt, j.x.netAt, j.x.markAt, j.x.rtcAt, j.x.heldAt)
}

// Resume goes on from what an earlier run knew. Whoever calls it has seen to it that
// the local timescale is the same, and has run on.
func (j *Judge) Resume(now timescale.Local) {
	h := j.learned.Held
	if h == nil || j.x.known || h.At > now || h.SigmaS <= 0 || h.RateSigmaPPM <= 0 {
		return
	}
	j.f.base, j.f.at = h.OffsetNS, h.At
	j.f.start(0, sNo, sq(h.SigmaS))
	j.f.forget(sY, h.RatePPM*1e-6, h.RateSigmaPPM*1e-6)
	j.x = known{known: true, dateProved: h.DateProved, secLo: h.SecLo, secHi: h.SecHi, secAlone: h.SecAlone,
		ancestry: j.ancestryOf(h.Ancestry), heldAt: h.Confirmed, stream: h.Stream, lateness: h.LatenessS}
	j.warm.restart()
	j.note(now, "started", "The time is held over from before noonmark was started anew.")
}

// goesOn tells whether a stream that would have x be rel away is that of the run before:
// it names the same seconds, however late it is.
func (j *Judge) goesOn(at timescale.Local, rel float64) bool {
	h := j.learned.Held
	return j.x.stream && guardZ*j.f.sigma(sY)*at.Sub(h.At).Seconds() < sameStream && math.Abs(rel+j.x.lateness) < sameStream
}
