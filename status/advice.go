package status

import "math"

// Kinds of advice: stable words for programs.
const (
	AdviceNone     = "none"         // nothing is to be done
	AdviceWait     = "wait"         // what is needed comes without a hand being moved
	AdviceOpenSky  = "open-sky"     // give the receiver a view of the sky
	AdviceReceiver = "receiver"     // plug it in, name it, restart it
	AdviceListen   = "listen"       // to the air: the band's signals, or a time signal
	AdviceMark     = "mark"         // a time signal decides what the sources cannot
	AdviceWithdraw = "withdraw"     // a mark that nothing bears out is taken back, or borne out by another
	AdviceConnect  = "connect"      // to a network, once
	AdviceSet      = "set-clock"    // the clock is off, and noonmark does not set it
	AdviceStop     = "stop-program" // another program sets the clock
	AdviceSettings = "settings"     // something in the settings is in the way
	AdviceRenew    = "renew"        // good now, and ending
	AdviceBattery  = "battery"      // of the hardware clock
	AdviceRepair   = "repair"       // good now, but something cannot be done: Snapshot.Problems
	AdviceStart    = "start"        // noonmark does not run, or hangs
)

// Advice is the next step.
type Advice struct {
	Kind string `json:"kind"`
	Text string `json:"text"` // what to do, at most two sentences
	// WaitS is the time in it: how long to wait, or how long the answer still lasts.
	WaitS Float `json:"wait_s"`
}

// endsSoonS: an answer that lasts no longer is said to end.
const endsSoonS = 3600

// slewS is the fastest that a clock is moved without a step, s/s (adjtimex(2): 500 ppm).
const slewS = 500e-6

// Advise is the next step from what s says of modes, which are some of s.Modes; of
// several the worst decides. It is as of s.Written, and as pure as a table: the first
// row that fits is the answer.
func Advise(s *Snapshot, modes []Mode) Advice {
	c := situation{s: s, mode: worst(modes), receiver: Reference{State: "absent"}}
	for _, r := range s.References {
		switch {
		case r.Kind == "gnss":
			c.receiver = r
		case r.State == "disagrees":
			c.disagree = true
			c.slip = c.slip || s.Mark != nil && r.Kind == "operator" && r.Name == s.Mark.Name
		}
	}
	for _, row := range adviceTable {
		if row.when(&c) {
			a := Advice{Kind: row.kind}
			if row.wait != nil {
				a.WaitS = row.wait(&c)
			}
			a.Text = row.text(&c, a.WaitS)
			return a
		}
	}
	return Advice{Kind: AdviceMark, Text: "Mark a time signal: noonmark mark."} // not reached: the last row fits all
}

// situation is what the rows look at.
type situation struct {
	s        *Snapshot
	mode     Mode
	receiver Reference
	disagree bool // a source other than the receiver disagrees, and there is no third
	slip     bool // … it is a mark that can be taken back
}

// is tells whether the receiver is in one of states.
func (c *situation) is(states ...string) bool {
	for _, s := range states {
		if c.receiver.State == s {
			return true
		}
	}
	return false
}

// off: the clock itself is the trouble, and setting it would be the remedy.
func (c *situation) off() bool {
	k := &c.s.Clock
	return k.ErrorS.OK && k.GuardS.OK && (c.mode.Verdict == Outside ||
		c.mode.Verdict == Borderline && k.GuardS.V < c.mode.ToleranceS && c.mode.MarginS.V < 0)
}

func (c *situation) good() bool { return c.mode.Verdict == Within }

// gone: what the clock was judged by is no longer heard.
func (c *situation) gone() bool { return c.s.Clock.Basis == BasisHoldover }

func (c *situation) ends() bool {
	return c.good() && (c.gone() || c.mode.GoodForS.OK && c.mode.GoodForS.V < endsSoonS)
}

func (c *situation) steering(words ...string) bool {
	for _, w := range words {
		if c.s.Clock.Steering == w {
			return c.off()
		}
	}
	return false
}

// latency tells whether the receiver's latency is confirmed.
func (c *situation) latency() bool {
	for _, p := range c.s.Clock.Proved {
		if p == "latency" {
			return true
		}
	}
	return false
}

// worst is the mode with the worst verdict, of equals the one that ends first; the zero
// Mode of none.
func worst(modes []Mode) Mode {
	rank := map[string]int{Within: 0, Borderline: 1, Outside: 2, Unknown: 3}
	var w Mode
	for i, m := range modes {
		a, b := rank[m.Verdict], rank[w.Verdict]
		if i == 0 || a > b || a == b && m.MarginS.V < w.MarginS.V {
			w = m
		}
	}
	return w
}

// waitWords writes a wait, rounded up: nobody should look too early.
func waitWords(w Float) string {
	switch s := w.V; {
	case !w.OK:
		return "a moment"
	case s < 90:
		return Span(math.Max(10, math.Ceil(s/10)*10))
	case s < 7200:
		return Span(math.Ceil(s/60) * 60)
	}
	return Span(w.V)
}
