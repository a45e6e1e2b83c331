package hear

import (
	"math"
	"strings"
	"time"

	"noonmark/clockcheck/air/signal"
	"noonmark/clockcheck/air/sound"
	"noonmark/clockcheck/marks"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/places"
	"noonmark/grid"
	"noonmark/status"
)

// heard is a time-signal station. Its offset is that of a second's begin, or, where the minute is
// known, the minute's, after the begin of the sound; the way is not taken off.
type heard struct {
	Name    string      `json:"name"`
	OffsetS float64     `json:"offset_s"`
	BoundS  float64     `json:"bound_s"`
	Tells   string      `json:"tells"` // "second", "minute" or "date"
	UTC     status.Time `json:"utc"`   // of that begin; null = not told
}

// How well the begin of a second is found, s, at worst; and what the radio's filter and
// processing delay: 0 to 60 ms (common practice, no source).
const (
	secondBound = 0.015
	radioDelay  = 0.030
	radioBound  = 0.030
	// stationLeast is how much sound holds a minute's begin for sure, and what is around it;
	// stationSpan how much holds a minute's code whole, s.
	stationLeast, stationSpan = 75, 121
	// bpmEarly: BPM's UTC ticks come 20 ms before the second (ITU-R TF.768, annex).
	bpmEarly = 0.020
)

// station is what a found one tells: name "" is any but RWM, whose carrier a radio makes any
// tone of, as it does of a private beep: that it is tuned to RWM is for the operator to say.
func station(samples []float32, name string) *heard {
	var best *heard
	all := signal.Find
	if strings.EqualFold(name, rwm) {
		all = func(x []float32) (out []signal.Station) {
			if s, ok := signal.FindRWM(x); ok {
				out = append(out, s)
			}
			return out
		}
	}
	for _, s := range all(samples) {
		if name != "" && !strings.EqualFold(name, s.Name) || !s.Second {
			continue
		}
		h := &heard{Name: s.Name, OffsetS: s.SecondS, BoundS: secondBound, Tells: "second"}
		if s.Minute {
			h.OffsetS, h.Tells = s.MinuteS, "minute"
			if !s.UTC.IsZero() {
				h.Tells, h.UTC = "date", status.At(timescale.UTCOf(s.UTC))
			}
		}
		if s.Name == "BPM" {
			h.OffsetS += bpmEarly
		}
		h.OffsetS = round(h.OffsetS, 4)
		if best == nil || rank[h.Tells] > rank[best.Tells] {
			best = h
		}
	}
	return best
}

const rwm = "RWM"

// unheard says that a named station is not in the sound of a minute, and what may help.
func unheard(name string) string {
	if strings.EqualFold(name, rwm) {
		return "No second of RWM is in the last minute. Tune beside its carrier (4996, 9996, 14996 kHz) so that you hear a tone. " +
			"Its seconds come in minutes 10 to 29 and 40 to 59 of the hour. In the others it sends a plain carrier, nothing, or its name."
	}
	return "No " + strings.ToUpper(name) + " is in the last minute."
}

var rank = map[string]int{"second": 1, "minute": 2, "date": 3}

// modulo is after how much what it tells means the same again; 0 = never.
func (h *heard) modulo() time.Duration {
	switch h.Tells {
	case "date":
		return 0
	case "minute":
		return time.Minute
	}
	return time.Second
}

// way is how long a station's signal is on its way to here, by the place said or published.
func way(c cli.Hear, name string) (delay, bound time.Duration) {
	km := -1.0
	s, err := marks.Named(name)
	if err != nil {
		return marks.Path(km, false)
	}
	at, err := places.Here(c.RunDir)
	if c.Place != "" {
		at, err = places.ReadPlace(c.Place)
	}
	if err == nil {
		if to, err := grid.Degrees(s.LatDeg, s.LonDeg); err == nil {
			km = grid.Inverse(at.Point, to).DistanceM / 1000
		}
	}
	return marks.Path(km, false)
}

// stationNow examines the newest minute for a time signal and delivers it.
func (e *ear) stationNow() error {
	n := min(len(e.samples), stationSpan*sound.Rate)
	if n < stationLeast*sound.Rate {
		return nil
	}
	piece, first, tied, ok := e.newest(n)
	if !ok {
		return nil
	}
	h := station(piece.Samples, e.c.Station)
	if h == nil {
		if e.c.Station != "" {
			e.word(unheard(e.c.Station))
		}
		return nil
	}
	delay, bound := way(e.c, h.Name)
	now := e.h.sample()
	// The system clock at the instant that the begin was sent.
	sent := now.System.Add(first.Sub(now.Local)).Add(seconds(h.OffsetS-radioDelay) - delay)
	if h.UTC.OK { // a code without a check of its own is believed when a second reading bears it out
		z := int64(h.UTC.V) - int64(first.Add(seconds(h.OffsetS)))
		if d := time.Duration(z - e.dated); d > time.Second || d < -time.Second {
			h.Tells, h.UTC = "minute", status.Time{}
		}
		e.dated = z
	}
	err := math.Remainder(float64(sent)/1e9, h.modulo().Seconds())
	if h.UTC.OK {
		err = sent.Sub(h.UTC.V).Seconds()
	}
	e.heard = true
	return e.h.deliver(e.c, claim{source: h.Name, error: err, bound: h.BoundS + radioBound + bound.Seconds() + tied.Seconds(), common: radioBound + bound.Seconds() + tied.Seconds(), modulo: h.modulo(), signals: 1, at: now})
}

func seconds(s float64) time.Duration { return time.Duration(s * 1e9) }
