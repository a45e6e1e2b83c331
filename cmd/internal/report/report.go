// Package report words where a station is for a message: "I am here and well", or a
// call for help. A status and the reader's present come in, a Report comes out, and
// of it a text: full, fitted to a length, or by a template.
//
// The text says what is wrong with what it says: a fix that is old or poor, a time
// that nothing proves, a simulation. It names nobody and sends nothing.
//
// Values in, values out; safe from any goroutine.
package report

import (
	"errors"
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/around"
	"noonmark/grid"
	"noonmark/grid/magnetic"
	"noonmark/status"
)

// When a place is called old or poor. Ours: a report is for somebody who would come
// there, or look there with a map.
const (
	oldS  = 60
	poorM = 1000
)

// ErrNoPlace says that the station does not know where it is.
var ErrNoPlace = errors.New("the station does not know where it is: give the receiver an open sky")

// Report is what a text is made of, and what a template can name. A Float prints as
// its number or as "not known"; its .OK tells, and its .V is the number.
type Report struct {
	Exercise   bool         `json:"exercise"` // a simulation or a replay, not this station
	Distress   bool         `json:"distress"`
	UTC        status.Time  `json:"utc"`          // of the report: the clock, less its error
	TimeProved bool         `json:"time_proved"`  // the clock is within some mode's tolerance
	TimeBoundS status.Float `json:"time_bound_s"` // 99 %
	Locator    string       `json:"locator"`      // as long as the fix supports; "" for none
	LatDeg     float64      `json:"lat_deg"`
	LonDeg     float64      `json:"lon_deg"`
	AltM       status.Float `json:"alt_m"`
	BoundM     status.Float `json:"bound_m"` // horizontal, 99 %
	AgeS       status.Float `json:"age_s"`   // of the fix
	Old        bool         `json:"old"`     // over a minute, or nobody knows
	Poor       bool         `json:"poor"`    // not within 1 km, or nobody knows
	Kept       bool         `json:"kept"`    // from before noonmark started
	Moving     bool         `json:"moving"`
	Satellites status.Float `json:"satellites"`
	To         *To          `json:"to"`       // nil: no place was named
	Problems   []string     `json:"problems"` // what is wrong with all this, a sentence each
}

// To is the way to a named place.
type To struct {
	Name            string       `json:"name"`
	DistanceM       float64      `json:"distance_m"`
	DistanceBoundM  float64      `json:"distance_bound_m"`
	HeadingDeg      float64      `json:"heading_deg"` // true
	HeadingBoundDeg float64      `json:"heading_bound_deg"`
	CompassDeg      status.Float `json:"compass_deg"` // not known: no model holds, or a compass tells nothing there
	CompassBoundDeg status.Float `json:"compass_bound_deg"`
	NoCompass       string       `json:"no_compass"` // why there is none, "" where there is one
}

// Place is a named place and the area that it may lie in.
type Place struct {
	Name string
	End  grid.End
}

// Make makes a report of a status as of now. A status that is not fresh is refused,
// but for distress, where old news is better than none: it is marked as old. to may
// be nil.
func Make(s status.Snapshot, now status.Now, distress bool, to *Place) (Report, error) {
	fresh := status.Fresh(s, now)
	if !fresh.OK && !distress {
		return Report{}, errors.New(fresh.Because)
	}
	q := s.Position
	if q == nil || !q.LatDeg.OK || !q.LonDeg.OK {
		return Report{}, ErrNoPlace
	}
	pt, err := grid.Degrees(q.LatDeg.V, q.LonDeg.V)
	if err != nil {
		return Report{}, err
	}
	r := Report{Exercise: !s.Live, Distress: distress, Locator: q.Locator, LatDeg: q.LatDeg.V, LonDeg: q.LonDeg.V, AltM: q.AltM,
		BoundM: q.BoundM, Kept: q.Kept, Moving: q.Moving, Satellites: q.Satellites}
	if _, err := grid.Parse(r.Locator); err != nil {
		r.Locator = "" // a hostile file
	}
	since, known := s.Since(now)
	r.time(s, now, fresh, since, known)
	if q.AgeS.OK && known {
		r.AgeS = status.Known(q.AgeS.V + since)
	}
	r.Old = !r.AgeS.OK || r.AgeS.V > oldS
	r.Poor = !r.BoundM.OK || r.BoundM.V > poorM
	if to != nil {
		r.To = way(pt, r.BoundM, to)
		r.To.compass(r.LatDeg, r.LonDeg, r.UTC.V.Time())
	}
	r.Problems = r.problems(fresh)
	if r.Locator != "" && !q.EdgeM.OK {
		r.Problems = append(r.Problems, "The settings make the place coarse (publish.locator_length): the receiver itself knows it better.")
	}
	return r, nil
}

// time is UTC as judged, where that can be told, else what the system clock reads.
func (r *Report) time(s status.Snapshot, now status.Now, fresh status.Freshness, since float64, known bool) {
	r.UTC = status.At(now.System)
	if !fresh.OK || !known || !s.Clock.ErrorS.OK || !s.Written.SystemUTC.OK {
		return
	}
	r.UTC = status.At(s.Written.SystemUTC.V + timescale.UTC((since-s.Clock.ErrorS.V)*1e9))
	r.TimeBoundS = s.Clock.BoundS
	for _, m := range s.Modes {
		r.TimeProved = r.TimeProved || m.Verdict == status.Within
	}
}

func way(from grid.Point, bound status.Float, to *Place) *To {
	reach := math.Inf(1)
	if bound.OK {
		reach = bound.V
	}
	l, b := grid.Between(grid.EndOf(from, min(reach, 1e7)), to.End)
	return &To{Name: status.Clean(to.Name), DistanceM: l.DistanceM, DistanceBoundM: b.DistanceM, HeadingDeg: l.HeadingDeg, HeadingBoundDeg: b.HeadingDeg}
}

// compass adds what a compass shows for the heading, or says why there is none: the field is
// too weak along the ground to trust one, or no model holds for the day.
func (t *To) compass(latDeg, lonDeg float64, at time.Time) {
	c := around.CompassAt(latDeg, lonDeg, at)
	switch {
	case c == nil && float64(at.Year()) < magnetic.First:
		t.NoCompass = fmt.Sprintf("not known before %.0f", magnetic.First)
	case c == nil:
		t.NoCompass = fmt.Sprintf("not known after %.0f", magnetic.Until-1)
	case c.Use != "good":
		t.NoCompass = "not known, the field is too weak here"
	default:
		deg, _ := c.Heading(t.HeadingDeg)
		t.CompassDeg, t.CompassBoundDeg = status.Known(deg), status.Known(min(180, t.HeadingBoundDeg+c.BoundDeg))
	}
}

func (r *Report) problems(fresh status.Freshness) []string {
	list := []string{}
	add := func(is bool, text string) {
		if is {
			list = append(list, text)
		}
	}
	add(r.Exercise, "This is a simulation or a replay, not this station.")
	add(!fresh.OK, fresh.Because)
	add(r.Kept, "There was no fix since noonmark started: the station may have moved.")
	add(r.Old && !r.Kept, "The fix is old: give the receiver an open sky.")
	add(!r.BoundM.OK, "How good the fix is is not known.")
	add(r.Poor && r.BoundM.OK, "The place is only known within "+upTo(r.BoundM.V)+".")
	add(r.Moving, "The station is moving.")
	add(!r.TimeProved, "Nothing confirms the time: the clock is within no mode's tolerance.")
	return list
}
