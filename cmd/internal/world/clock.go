package world

import (
	"errors"
	"syscall"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
)

// readRTC looks for an edge every so often, as the service does. It is called at
// the end of a second, for the edges within it.
func (w *World) readRTC(begin timescale.UTC) {
	if w.s.NoRTC || w.local < w.nextRTC {
		return
	}
	want := w.rtcPace.Want()
	w.nextRTC = w.local.Add(w.rtcPace.Looked())
	at, shows, ok := w.rtc.NextEdge(begin)
	switch _, err := w.rtc.At(w.utc); {
	case errors.Is(err, syscall.EINVAL):
		w.Station.RTCInvalid(w.local)
		return
	case !ok || at.Sub(begin) > 2*time.Second:
		w.Station.RTCMissing("The hardware clock stands still.")
		return
	}
	edge := w.local.Add(at.Sub(w.utc)) // within a second of now: the rate does not matter
	half := want + w.bracket()         // as wide as it may be
	jitter := time.Duration((w.rng.Float64()*2 - 1) * float64(half))
	r := rtc.Reading{Edge: edge.Add(jitter), Half: half, Value: shows}
	r.Flags, r.FlagsKnown = w.rtc.Flags(at)
	w.Station.RTC(r)
}

// bracket is by how much wider a busy machine reads a clock: most looks are still good,
// and the best of several counts (measured in a virtual machine: up to 60 ms).
func (w *World) bracket() time.Duration {
	if w.link.Busy == 0 {
		return 0
	}
	return min(time.Duration(w.odd.ExpFloat64()*float64(w.link.Busy)/50), 500*time.Millisecond)
}
