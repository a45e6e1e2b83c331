package lab

import (
	"strings"

	"noonmark/gnss/gnsstest"
)

// receiver reads one property of a receiver.
func receiver(l *line, m *gnsstest.Model) (err error) {
	whole := func(what, unit string) int {
		var v float64
		v, err = l.number(what, unit)
		return int(v)
	}
	switch {
	case l.is("warm"):
		m.Warm = true
	case l.is("cold"):
		m.Warm = false
	case l.is("first fix after"):
		m.ColdFix, err = l.span("the time to a fix")
	case l.is("speed"):
		m.Baud = whole("the speed", "baud")
	case l.is("rate"):
		m.RateHz = whole("epochs", "Hz")
	case l.is("talker"):
		m.Talker, err = l.word("the talker")
	case l.is("sentences"):
		m.Sentences = nil
		for !l.done() && l.words[l.at] != "," {
			m.Sentences = append(m.Sentences, strings.ToUpper(l.words[l.at]))
			l.at++
		}
	case l.is("position error"):
		m.PositionSigmaM, err = l.number("the position's error", "m")
	case l.is("off the second by"):
		m.Phase, err = l.span("how much after the second the epochs are")
		if err == nil && l.is("moving") {
			m.PhasePPM, err = l.number("how fast they move", "ppm")
		}
	case l.is("rests"):
		if m.Pause, err = l.span("how long the burst rests"); err == nil && l.is("after") {
			m.PauseAfter = whole("after how many sentences", "")
			l.is("sentences")
			l.is("sentence")
		}
	case l.is("out of order"):
		m.Unordered, err = l.number("the share of epochs in another order", "%")
	default:
		return latency(l, m)
	}
	return err
}

// latency reads a property of how late the sentences come.
func latency(l *line, m *gnsstest.Model) (err error) {
	d := &m.Latency
	switch {
	case l.is("latency"):
		d.Mean, err = l.span("the latency")
	case l.is("jitter"):
		d.Jitter, err = l.span("the jitter")
	case l.is("wander"):
		d.Wander, err = l.span("the latency's wander in an hour")
	case l.is("restart"):
		d.Restart, err = l.span("how another the latency is after each power-on")
	case l.is("ramp"):
		d.Ramp, err = l.span("the ramp in an hour")
	case l.is("jump"):
		if d.Jump, err = l.span("the jump"); err == nil && l.is("after") {
			d.JumpAfter, err = l.span("when it jumps")
		}
	case l.is("second group"):
		if d.Bimodal, err = l.number("the second group's share", "%"); err == nil && l.is("later by") {
			d.BimodalBy, err = l.span("the second group")
		}
	case l.is("previous second"):
		m.PreviousSecond = true
	case l.is("zda current"):
		m.ZDACurrent = true
	case l.is("next second"):
		m.NextSecond = true
	case l.is("each satellite"):
		d.PerSatellite, err = l.span("how much later by a satellite")
	case l.is("poor sky"):
		d.Poor, err = l.span("how much later under a poor sky")
	default:
		return fault(l, m)
	}
	return err
}

// fault reads a property that makes a receiver awkward.
func fault(l *line, m *gnsstest.Model) (err error) {
	var v float64
	switch {
	case l.is("leap seconds missing"):
		v, err = l.number("how many", "")
		m.LeapMissing = int(v)
	case l.is("week rollovers"):
		v, err = l.number("how many", "")
		m.WeekRollovers = int(v)
	case l.is("before fix no time"):
		m.BeforeFix = gnsstest.NoTime
	case l.is("before fix no date"):
		m.BeforeFix = gnsstest.NoDate
	case l.is("before fix default date"):
		m.BeforeFix = gnsstest.DefaultDate
	case l.is("before fix week zero"):
		m.BeforeFix = gnsstest.WeekZero
	case l.is("own clock"):
		m.OwnError, err = l.offset("the receiver's own clock")
	case l.is("date late"):
		m.DateLate = true
	case l.is("valid too soon by"):
		m.ValidTooSoon, err = l.span("how much too soon")
	case l.is("estimates for"):
		m.Estimates, err = l.span("how long it estimates")
	case l.is("estimates unsaid for"):
		m.EstimatesUnsaid = true
		m.Estimates, err = l.span("how long it estimates")
	case l.is("repeats for"):
		m.RepeatsFor, err = l.span("how long it says its last epoch again")
	case l.is("leap data after"):
		m.AlmanacAfter, err = l.span("when the leap-second data come")
	case l.is("simulator"):
		m.Simulator = true
	default:
		w, err := l.word("a property of the receiver")
		if err != nil {
			return err
		}
		return errUnknown("a receiver's property", w)
	}
	return err
}
