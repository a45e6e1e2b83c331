package status

import "math"

// An adviceRow is one line of the table: who is in this situation does that.
type adviceRow struct {
	kind string
	when func(*situation) bool
	wait func(*situation) Float // nil = no time is known
	text func(*situation, Float) string
}

// marking is how a second source is had off the grid.
const marking = "mark a time signal: noonmark mark"

// says is a text that needs no number.
func says(text string) func(*situation, Float) string {
	return func(*situation, Float) string { return text }
}

// state is a row for the receiver's state.
func state(kind, text string, states ...string) adviceRow {
	return adviceRow{kind: kind, when: func(c *situation) bool { return c.is(states...) }, text: says(text)}
}

func secondIn(c *situation) Float { return c.s.Clock.SecondInS }

// adviceTable is the table. What is good comes first, then what is wrong with the clock,
// then what is wrong with what it is judged by.
var adviceTable = []adviceRow{
	{kind: AdviceSettings, when: func(c *situation) bool { return c.mode.Mode == "" },
		text: says("Name the modes you work: show in [modes] of the settings.")},

	// Good.
	{kind: AdviceRenew, when: func(c *situation) bool { return c.ends() }, text: renew,
		wait: func(c *situation) Float { return c.mode.GoodForS }},
	{kind: AdviceRepair, when: func(c *situation) bool { return c.good() && len(c.s.Problems) > 0 },
		text: func(c *situation, _ Float) string { return c.s.Problems[0].Text }},
	{kind: AdviceBattery, when: func(c *situation) bool { return c.good() && c.battery() },
		text: says("Change the battery of the hardware clock, or the time is lost with the power.")},
	{kind: AdviceNone, when: (*situation).good, text: says("Nothing is to be done.")},

	// The clock is off.
	{kind: AdviceStop, when: func(c *situation) bool { return c.steering("another-program") },
		text: says("Stop the other program that sets the clock: noonmark preflight names it.")},
	{kind: AdviceSet, when: func(c *situation) bool { return c.steering("not-permitted") },
		text: says("Run noonmark as its service, which may set the clock: sudo systemctl restart noonmark.")},
	{kind: AdviceWait, when: func(c *situation) bool {
		return c.steering("slewing", "holding") && math.Abs(c.s.Clock.ErrorS.V) < slewedS
	}, wait: slewing,
		text: func(_ *situation, w Float) string { return "Wait " + waitWords(w) + ": noonmark is moving the clock." }},
	{kind: AdviceWait, when: func(c *situation) bool { return c.steering("stepping", "waiting", "slewing", "holding") },
		text: says("Wait for the gap between two periods: noonmark sets the clock there.")},
	{kind: AdviceSet, when: (*situation).off, text: func(c *situation, _ Float) string {
		return "Set the clock: it is " + FastSlow(c.s.Clock.ErrorS) + ". To let noonmark do it: sudo noonmark run --steer."
	}},

	// What the clock is judged by.
	{kind: AdviceWait, when: func(c *situation) bool {
		return c.mode.Verdict == Borderline && c.mode.MarginS.OK && c.mode.MarginS.V >= 0
	},
		wait: func(*situation) Float { return Known(2) }, text: says("Wait a few seconds: the answer must hold first.")},
	{kind: AdviceWithdraw, when: func(c *situation) bool { return c.slip },
		text: says("The mark disagrees with the rest. If it was a slip, take it back: noonmark mark --withdraw. If not, mark again.")},
	state(AdviceMark, "Do not trust the receiver alone: it disagrees with what was known. To decide, "+marking+".",
		"disagrees", "jumped", "dragged", "scatter"),
	{kind: AdviceMark, when: func(c *situation) bool { return c.disagree },
		text: says("Two sources of time disagree, and there is no third. To decide, " + marking + ".")},
	{kind: AdviceWait, when: func(c *situation) bool { return c.is("second-soon", "leap-missing") && c.latency() }, wait: secondIn,
		text: func(_ *situation, w Float) string {
			return "Wait " + waitWords(w) + ": the whole second is being confirmed."
		}},
	{kind: AdviceListen, when: func(c *situation) bool { return c.is("second-soon", "leap-missing") && !c.enough() },
		text: func(c *situation, _ Float) string {
			return "Tune to a band you work and run noonmark hear, or " + marking + ". Waiting alone is not enough for " + Clean(c.mode.Mode) + "."
		}},
	{kind: AdviceWait, when: func(c *situation) bool { return c.is("second-soon", "leap-missing") }, wait: secondIn,
		text: func(_ *situation, w Float) string {
			return "Wait " + waitWords(w) + " for the whole second to be confirmed. If you cannot wait, " + marking + "."
		}},
	state(AdviceMark, "To confirm the whole second, "+marking+". The receiver alone cannot.", "second-open"),
	state(AdviceListen, "Tune to a band you work and run noonmark hear, or "+marking+". One minute on a network does it, too.", "latency-open"),
	state(AdviceWait, "Wait a minute: the receiver's first readings are being compared.", "settling"),
	state(AdviceOpenSky, "Give the receiver open sky. If there is none, "+marking+".", "no-fix"),
	state(AdviceReceiver, "Plug the receiver in: noonmark ports shows what is there. If there is none, "+marking+".", "absent"),
	state(AdviceReceiver, "Check the receiver's cable and power: nothing is heard from it.", "quiet"),
	state(AdviceReceiver, "Turn the receiver's simulator mode off.", "simulator"),
	state(AdviceReceiver, "Unplug the receiver and plug it in again: it repeats one instant.", "stuck"),
	state(AdviceReceiver, "Give the receiver a faster line, or let it send fewer sentences.", "overrun"),
	state(AdviceMark, "The receiver's date is wrong. To tell the date, "+marking+".", "early-date"),
	state(AdviceMark, "The receiver does not say the date. To tell it, "+marking+".", "no-date"),
	{kind: AdviceConnect, when: func(c *situation) bool { return c.mode.Verdict != Unknown },
		text: func(c *situation, _ Float) string {
			return "Connect to a network once, or wire the receiver's pulse: " + Clean(c.mode.Mode) + " needs a closer time."
		}},
	{kind: AdviceMark, when: func(*situation) bool { return true }, text: says("To tell the time, " + marking + ".")},
}

// slewedS: a clock that is further off is stepped. The settings have 0.25 s unless told
// otherwise; twice that is surely stepped.
const slewedS = 0.5

// slewing is how long a clock that is moved without a step takes, s.
func slewing(c *situation) Float {
	if !c.mode.MarginS.OK {
		return Float{}
	}
	return Known(max(-c.mode.MarginS.V, 0) / slewS)
}

// TermSecond is the part of the worst case that the confirmed second takes away.
const TermSecond = "whole second"

// enough tells whether the mode would be within once the whole second is confirmed:
// margin + that part of the worst case ≥ 0. What is not known is taken for enough.
func (c *situation) enough() bool {
	if !c.mode.MarginS.OK {
		return true
	}
	for _, t := range c.s.Clock.Budget {
		if t.Term == TermSecond && t.GuardS.OK {
			return c.mode.MarginS.V+t.GuardS.V >= 0
		}
	}
	return true
}

func (c *situation) battery() bool {
	for _, r := range c.s.References {
		if r.Battery == BatteryLow || r.Battery == BatteryEmpty {
			return true
		}
	}
	return false
}

// renew words an answer that ends.
func renew(c *situation, w Float) string {
	ending := "Ending in " + Span(w.V)
	if !w.OK {
		ending = "Ending at an unknown time"
	}
	switch {
	case c.is("absent"):
		return ending + ": plug the receiver in, or " + marking + "."
	case c.is("quiet"):
		return ending + ": check the receiver's cable and power, or " + marking + "."
	case c.is("disagrees", "jumped", "dragged", "scatter", "simulator", "stuck", "early-date", "no-date", "overrun"):
		return ending + ": the receiver is not trusted. To decide, " + marking + "."
	case c.gone(), c.is("no-fix"):
		return ending + ": give the receiver open sky, or " + marking + "."
	}
	return "Keep what tells the time connected: without it the answer ends in " + Span(w.V) + "."
}
