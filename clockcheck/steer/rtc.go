package steer

import (
	"fmt"
	"math"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// Rules for setting the hardware clock. It needs setting seldom: the judge knows how
// far off it is and how it runs, so a wrong RTC costs this program nothing. It is set
// for the kernel, which takes its time from it at boot, and for the night on which
// what was learned is lost.
const (
	rtcOff      = 100 * time.Millisecond // it is set if it is off by more, once a day at most
	rtcFarOff   = time.Second            // … by more than this, once an hour at most
	rtcPhase    = 750 * time.Millisecond // a clock whose phase a write leaves alone is never right by less
	rtcProved   = 150 * time.Millisecond // largest error (99.99 %) of a clock that it is set from
	rtcRough    = time.Second            // … if it is off by two seconds or more
	rtcAgree    = 30 * time.Millisecond  // two measurements of one chip's rule agree
	rtcFine     = 10 * time.Millisecond  // σ of a reading that measures the rule
	rtcLead     = 1500 * time.Millisecond
	rtcPatience = 30 * time.Second // for an order to be carried out
	rtcPause    = 10 * time.Minute // after one that could not be
)

// Learned is what is worth keeping over a power-off.
type Learned struct {
	Chips []Chip `json:"chips,omitempty"` // the newest first
}

// Chip is what was measured of one hardware clock.
type Chip struct {
	Name       string        `json:"name"`         // driver and place, as the kernel tells
	FirstTickS float64       `json:"first_tick_s"` // from a write to the first tick after it
	Measured   int           `json:"measured"`     // how often
	KeepsPhase bool          `json:"keeps_phase"`  // a write leaves the seconds' phase as it was
	LastSet    timescale.UTC `json:"last_set_utc_ns"`
}

const maxChips = 4

// firstTick is where the first tick after a write comes as long as nobody has
// measured: half a second for the MC146818 and for chips that are stopped and
// released by their driver (Linux 6.1 drivers/rtc/rtc-cmos.c; NXP data sheet PCF2123:
// 0.499878 to 0.5 s), a second for those whose divider a write resets (the kernel's
// own assumption, commit 69eca258c850).
func firstTick(chip string) float64 {
	for _, driver := range []string{"rtc_cmos", "rtc-cmos", "rtc-pcf8523", "rtc-pcf85063", "rtc-pcf2123"} {
		if strings.HasPrefix(chip, driver) {
			return 0.5
		}
	}
	return 1
}

type rtcPolicy struct {
	on      bool
	chip    Chip
	others  []Chip
	tie     int64           // UTC − local at tied, ns
	tied    timescale.Local // 0 = never
	heard   timescale.Local
	offset  time.Duration // RTC − UTC, as heard
	edge    timescale.UTC // an edge of it, in UTC
	invalid bool
	ordered timescale.Local // an order is out; 0 = none
	plan    RTCOrder        // that order, or the last
	written timescale.Local // when the last order was carried out; 0 = it is measured
	used    float64         // first tick that the last order counted on
	misses  int             // measurements in a row that did not agree
	again   bool            // the rule was wrong: once more, at once
	pause   timescale.Local // not before: it could not be set
	local   bool            // it keeps local time: said
}

func newRTCPolicy(chip string, l Learned) rtcPolicy {
	p := rtcPolicy{on: chip != "", chip: Chip{Name: chip, FirstTickS: firstTick(chip)}}
	for _, c := range l.Chips {
		if c.Name == chip {
			p.chip = c
		} else if len(p.others) < maxChips-1 {
			p.others = append(p.others, c)
		}
	}
	return p
}

// Learned returns what is worth keeping now.
func (s *Steerer) Learned() Learned {
	l := Learned{Chips: append([]Chip(nil), s.rtc.others...)}
	if s.rtc.chip.Measured > 0 || s.rtc.chip.LastSet != 0 {
		l.Chips = append([]Chip{s.rtc.chip}, l.Chips...)
	}
	return l
}

// order wants the hardware clock set, if it must be.
func (p *rtcPolicy) order(in Input, vouchable bool) *RTCOrder {
	j := in.Judgement
	if p.ordered != 0 && in.Now.Sub(p.ordered) > rtcPatience {
		p.ordered = 0
	}
	p.tie, p.tied = 0, 0
	if !j.Known || !j.Guarded {
		return nil
	}
	p.tie, p.tied = int64(in.System)-int64(in.Now)-int64(ns(j.Error)), in.Now
	if !p.on || !vouchable || j.Basis == clockcheck.BasisHoldover || j.Guard > p.proved().Seconds() || p.ordered != 0 || p.written != 0 || in.Now < p.pause {
		return nil
	}
	now := timescale.UTC(int64(in.Now) + p.tie)
	if !p.needed(now, in.Kernel.Bits&BitUnsync == 0) {
		return nil
	}
	p.plan = p.planned(in.Now, now)
	p.ordered = in.Now
	return &p.plan
}

// proved is the largest error of a clock that the RTC may be set from. A clock that is
// far off, or has lost its time, is better set roughly than not.
func (p *rtcPolicy) proved() time.Duration {
	if p.invalid || p.heard != 0 && p.offset.Abs() > 2*rtcFarOff {
		return rtcRough
	}
	return rtcProved
}

// needed: the clock's time is lost, or it is off by more than it should be and was
// not set lately. While the kernel's own writes are on they see to the whole seconds.
func (p *rtcPolicy) needed(now timescale.UTC, kernelWrites bool) bool {
	since := now.Sub(p.chip.LastSet)
	if p.chip.LastSet == 0 || since < 0 {
		since = 1000 * time.Hour
	}
	off := p.offset.Abs()
	switch {
	case p.invalid:
		return since > 10*time.Minute
	case p.heard == 0 || p.localTime():
		return false
	case p.again && off > rtcOff && !kernelWrites:
		return true
	case off > rtcFarOff:
		return since > time.Hour
	case kernelWrites || p.chip.KeepsPhase && off < rtcPhase:
		return false
	}
	return off > rtcOff && since > 24*time.Hour
}

// localTime: the clock is off by quarter hours, as one is that another system keeps
// in local time. It is not ours to set.
func (p *rtcPolicy) localTime() bool {
	q := math.Round(p.offset.Seconds() / 900)
	return q != 0 && math.Abs(p.offset.Seconds()-q*900) < 5 && math.Abs(q) <= 14*4
}

// planned chooses the instant and the value, so that the tick after the write begins the
// second it names.
func (p *rtcPolicy) planned(now timescale.Local, utc timescale.UTC) RTCOrder {
	sec := timescale.UTC(timescale.Second)
	first := ns(p.chip.FirstTickS)
	p.used = p.chip.FirstTickS
	if p.chip.KeepsPhase && p.heard != 0 {
		// The phase stays: write soon after an edge what comes nearest.
		edge := p.edge + (utc.Add(rtcLead)-p.edge+sec-1)/sec*sec
		value := (edge + sec/2) / sec * sec
		return RTCOrder{At: now.Add(edge.Sub(utc) + 300*time.Millisecond), Value: value}
	}
	tick := (utc.Add(rtcLead+first)/sec + 1) * sec
	return RTCOrder{At: now.Add(tick.Sub(utc) - first), Value: tick - sec}
}

// RTCWritten says that an order was carried out between two instants, or that it was
// not, for a reason.
func (s *Steerer) RTCWritten(before, after timescale.Local, err error) []clockcheck.Event {
	p := &s.rtc
	p.ordered = 0
	if err != nil {
		p.pause = after.Add(rtcPause)
		return []clockcheck.Event{{At: after, Kind: "rtc-not-set", Text: "The hardware clock could not be set: " + err.Error() + "."}}
	}
	p.again = false
	p.written = before.Add(after.Sub(before) / 2)
	p.chip.LastSet = p.plan.Value
	p.invalid = false
	return []clockcheck.Event{{At: after, Kind: "rtc-set", Text: "Noonmark set the hardware clock, which was " + p.was() + "."}}
}

func (p *rtcPolicy) was() string {
	if p.heard == 0 || p.invalid {
		return "without a valid time"
	}
	return "off by " + seconds(p.offset)
}

// RTC takes one reading of the hardware clock. The first after a write tells the
// chip's rule; the error of our own clock is not in that, for both ends of the
// measurement are on the local timescale.
func (s *Steerer) RTC(r *clockcheck.RTC) []clockcheck.Event {
	p := &s.rtc
	p.invalid = r.Invalid
	if r.Invalid {
		p.heard = 0
		return nil
	}
	var events []clockcheck.Event
	if p.written != 0 && r.Edge > p.written && r.Sigma <= rtcFine {
		events = p.measure(r)
	}
	if p.tied != 0 {
		p.heard = r.Edge
		p.edge = timescale.UTC(int64(r.Edge) + p.tie)
		p.offset = r.Value.Sub(p.edge)
	}
	if p.heard != 0 && p.localTime() && !p.local && p.on {
		p.local = true
		events = append(events, clockcheck.Event{At: r.Edge, Kind: "rtc-local-time",
			Text: fmt.Sprintf("The hardware clock is %+.2f h off: it keeps local time, for another system perhaps. Noonmark does not set it.", p.offset.Hours())})
	}
	return events
}

// measure finds where the first tick after the write came.
func (p *rtcPolicy) measure(r *clockcheck.RTC) []clockcheck.Event {
	passed := r.Edge.Sub(p.written)
	f := (passed - r.Value.Sub(p.plan.Value.Add(time.Second))).Seconds()
	p.written = 0
	if passed > time.Minute || f < -0.2 || f > 1.2 {
		return nil // somebody set it meanwhile: that measures nothing
	}
	p.chip.Measured++
	if math.Abs(f-p.used) <= rtcAgree.Seconds() {
		p.misses, p.chip.KeepsPhase = 0, false
		p.chip.FirstTickS += (f - p.chip.FirstTickS) / float64(min(p.chip.Measured, 8))
		return nil
	}
	p.misses++
	text := fmt.Sprintf("After a write the hardware clock's next second began %.3f s later, not %.3f s. From now on it is set by that.", f, p.used)
	if p.chip.KeepsPhase || p.misses >= 3 {
		p.chip.KeepsPhase = true
		text = "A write leaves the hardware clock's phase as it was: only its whole seconds can be set."
		if p.misses > 3 {
			text = ""
		}
	} else {
		p.chip.FirstTickS, p.again = f, true
	}
	if text == "" {
		return nil
	}
	return []clockcheck.Event{{At: r.Edge, Kind: "rtc-measured", Text: text}}
}
