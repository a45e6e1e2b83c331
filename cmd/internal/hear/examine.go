// Package hear is noonmark hear: the radio's sound tells the time.
//
// It is a process of its own beside the clock service, which opens no sound and runs
// nothing: what is found here is told over the control socket.
package hear

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/air/sound"
)

// found is what a piece of sound holds.
type found struct {
	Path    string    `json:"path,omitempty"`
	Mode    string    `json:"mode"`
	Signals []finding `json:"signals"`
	Crowd   *crowded  `json:"crowd"`
	Station *heard    `json:"station"`
	Clock   *stamped  `json:"clock,omitempty"` // with --at
	Because string    `json:"because"`         // why there is no crowd, or what is odd about the sound

	crowd crowd.Offset
	bound float64
}

// finding is one signal; its offset is its begin less the piece's begin and the mode's
// usual delay.
type finding struct {
	OffsetS float64 `json:"offset_s"`
	FreqHz  float64 `json:"freq_hz"`
	SNRdB   float64 `json:"snr_db"`
}

// crowded is where the stations agree, ± at 99 %.
type crowded struct {
	Signals int     `json:"signals"`
	OffsetS float64 `json:"offset_s"`
	BoundS  float64 `json:"bound_s"`
}

// examine looks for the signals of a mode in a piece of sound that begins with a period.
func examine(p sound.Piece, m band.Mode) found { return examineSpan(p, m, span{}) }

// longFile: a piece so much longer than a period holds more than one of them.
const longFile = 5 * time.Second

// ownWidth is how far from our own frequency a signal may be our own, Hz.
const ownWidth = 10

// span says what is known of a piece beside its sound.
type span struct {
	into     float64 // s from a period's begin to the first sample, by the clock to be judged
	anywhere bool    // that clock may be wrong: the sound may begin anywhere in a period
	ownHz    float64 // a signal there is our own; 0 = none
	station  string  // the time signal that the radio is tuned to; "" = none is named
	tied     bool    // it came at the rate that it is said to have: no other is looked for
}

// examineSpan does so for a piece of which more is known.
func examineSpan(p sound.Piece, m band.Mode, known span) found {
	ownHz, into := known.ownHz, known.into
	f := found{Mode: m.Name, Signals: []finding{}}
	if word := sound.Fault(p); word != "" {
		f.Because = word
		return f
	}
	samples := sound.To8k(p)
	if f.Station = station(samples, known.station); f.Station != nil && f.Station.Tells != "second" {
		return f
	}
	samples, without := band.LeaveOut(samples)
	find := band.Find
	if known.anywhere || p.Seconds() > (m.Period+longFile).Seconds() {
		find = band.FindWhole
	}
	all := find(samples, m)
	all = slices.DeleteFunc(all, func(s band.Signal) bool { return ownHz > 0 && math.Abs(s.FreqHz-ownHz) < ownWidth })
	for i := range all {
		all[i].BeginS += into
	}
	for i, o := range band.Offsets(all, m) {
		if into > 0 {
			o = math.Remainder(o, m.Period.Seconds())
		}
		f.Signals = append(f.Signals, finding{round(o, 3), round(all[i].FreqHz, 1), round(all[i].SNRdB, 0)})
	}
	apart := band.Distinct(all, m)
	c, err := crowd.Of(band.Offsets(apart, m), m.Period.Seconds())
	if without > 0 {
		f.Because = fmt.Sprintf("%.1f s were left out, muted or far louder than the rest: your own transmission? ", without)
	}
	switch {
	case len(apart) == 0 && len(all) == 0:
		f.Because += fmt.Sprintf("No signal of %s is in the sound.", m.Name)
		if hz := otherRate(p, m, known.tied); hz != 0 {
			f.Because += fmt.Sprintf(" The sampling rate is wrong: the signals are as if it were %d Hz, not %d.", hz, p.Rate)
		} else if word := sound.Like(samples); word != "" && f.Station == nil {
			f.Because += " " + word
		}
	case errors.Is(err, crowd.ErrFew):
		f.Because += fmt.Sprintf("%d stations are plain enough; %d are the least that make a crowd.", len(apart), crowd.Least)
	case err != nil:
		f.Because += fmt.Sprintf("The %d stations do not agree well enough (± %.1f s).", len(apart), c.BoundS)
	default:
		if into > 0 {
			c.OffsetS = math.Remainder(c.OffsetS, m.Period.Seconds())
		}
		f.crowd, f.bound = c, c.BoundS+m.Doubt.Seconds()
		f.Crowd = &crowded{c.Signals, round(c.OffsetS, 3), round(c.BoundS+m.Doubt.Seconds(), 3)}
	}
	return f
}

// otherRate is the rate at which a piece would hold three plain signals; 0 if none is.
func otherRate(p sound.Piece, m band.Mode, tied bool) int {
	if tied {
		return 0
	}
	p.Samples = p.Samples[:min(len(p.Samples), int(m.Period.Seconds()*float64(p.Rate)))]
	for _, hz := range sound.UsualRates {
		if ratio := float64(hz) / float64(p.Rate); hz == p.Rate || ratio > 2.1 || ratio < 0.45 {
			continue
		}
		q := sound.Piece{Rate: hz, Samples: p.Samples}
		if len(band.Distinct(band.Find(sound.To8k(q), m), m)) >= 3 {
			return hz
		}
	}
	return 0
}

func round(v float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(v*p) / p
}
