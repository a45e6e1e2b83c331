package world

import (
	"math"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss/gnsstest"
	"noonmark/rtc/rtctest"
)

// Scenario is a station and its story.
type Scenario struct {
	Name, Summary string
	Start         timescale.UTC // 0 = Start
	Length        time.Duration // of the story
	Osc           Oscillator
	Air           Air
	Transmitter   *Transmitter  // nil = never on the air
	Thermometer   *Thermometer  // nil = none
	SystemError   time.Duration // system clock − UTC at the start
	Receiver      gnsstest.Model
	NoReceiver    bool
	Pulse         Pulse
	NoRTC         bool
	RTC           rtctest.Model // its Temperature is Air's
	RTCError      time.Duration // RTC − UTC, OffFor and an hour before the start
	OffFor        time.Duration // power-off before the start
	Learned       bool          // compared with a server at home before that
	Link          Link          // of the receiver
	Place         gnsstest.Place
	Story         []Chapter
}

// Thermometer is a sensor on the computer's board.
type Thermometer struct {
	OffC     float64       // shows so much too warm, always
	NoiseC   float64       // sd of one reading
	StepC    float64       // shows multiples of this; 0 = all
	Lag      time.Duration // follows the air as an exponential
	HeatC    float64       // the computer's own warmth, in the end
	HeatOver time.Duration // … as an exponential since power-on
	LoadC    float64       // warmer while the processor works, by turns of about an hour; the oscillator feels none of it
}

// Chapter changes things from an instant of the story on. What happens once
// happens at its begin, in the order of the fields.
type Chapter struct {
	From    time.Duration
	Text    string
	Scene   gnsstest.Scene
	Servers []Server // that answer from here on
	Portal  *Server  // … or this one, in the place of all of them
	Way     Way      // of the network

	Link    *Link                   // the bytes come another way from here on
	Void    time.Duration           // the receiver calls itself invalid for so long, and tracks on
	Mark    *Mark                   // the operator marks a minute
	Band    *Band                   // the radio hears others from here on
	Signal  *TimeSignal             // … or a time-signal station
	Pulse   time.Duration           // the pulse alone comes later by this
	Plug    *gnsstest.Model         // another receiver takes the place of the former
	Restart *bool                   // the receiver starts again, cold if true, its port open
	Change  []func(*gnsstest.Model) // somebody changes the receiver's settings
	Air     *TempMove               // the air around the computer goes to a temperature; nil offset = to the usual
	Sun     *TempMove               // the sun warms the computer
	OscJump float64                 // the oscillator's rate jumps by this, ppm
	Slew    *float64                // another program sets the system clock's rate, ppm
	Turn    time.Duration           // another program lets the system clock turn by this, as adjtime does
	Step    time.Duration           // somebody moves the system clock by this
	RTCMove time.Duration           // somebody moves the hardware clock by this
	Battery *rtctest.Battery
	Sleep   time.Duration // the computer is suspended for so long
	Down    time.Duration // the program is killed, and started again after so long
	Stopped bool          // … not killed: it saved
	Off     time.Duration // the power is off for so long
	Cut     bool          // … without a shutdown: what was not saved is lost
	Forget  bool          // … and the state file is gone (after Down too)
	Former  bool          // … or damaged: the generation before is read
}

// TempMove is a change of temperature.
type TempMove struct {
	ToC   float64 // the mean temperature that it goes to; by how much the sun warms
	Usual bool    // it goes back to the usual one
	Over  time.Duration
}

// Mark is an operator's, on a radio time signal or with a borrowed clock.
type Mark struct {
	Error    time.Duration // of what is marked: positive = the mark is late, or the clock slow
	Bound    time.Duration
	Borrowed bool
	OurOwn   bool // the borrowed clock took its time from this station
}

// turn moves to the chapter of this instant.
func (w *World) turn() gnsstest.Scene {
	for w.chapter+1 < len(w.s.Story) && w.Elapsed() >= w.s.Story[w.chapter+1].From {
		w.chapter++
		w.happen(&w.s.Story[w.chapter])
	}
	if w.chapter < 0 {
		return gnsstest.Scene{}
	}
	s := w.s.Story[w.chapter].Scene
	s.Void = s.Void || w.utc < w.void
	return s
}

func (w *World) happen(c *Chapter) {
	w.network(c)
	if m := c.Mark; m != nil {
		w.mark(m)
	}
	if c.Band != nil {
		w.ear.band = *c.Band
		w.ear.tune(w.local)
	}
	if c.Signal != nil {
		w.ear.signal = *c.Signal
		w.ear.tune(w.local)
	}
	w.receiverHappens(c)
	w.weather(c)
	w.slew(c)
	w.setSystem(w.system + float64(c.Step))
	if c.RTCMove != 0 {
		if shows, ok := w.shows(); ok {
			w.rtc.Set(w.utc, shows.Add(c.RTCMove-w.s.RTC.Zone))
		}
	}
	if c.Battery != nil {
		w.rtc.SetBattery(w.utc, *c.Battery)
	}
	if c.Sleep > 0 {
		w.sleep(c.Sleep)
	}
	if c.Down > 0 {
		w.down(c)
	}
	if c.Off > 0 {
		w.off(c)
	}
}

// receiverHappens is what is done to the receiver and its line.
func (w *World) receiverHappens(c *Chapter) {
	if c.Link != nil {
		w.relink(*c.Link)
	}
	if c.Void > 0 {
		w.void = w.utc.Add(c.Void)
	}
	w.pulsing.moved += c.Pulse
	if c.Plug != nil {
		if w.opened {
			w.Station.Lost("The receiver is unplugged: plug it in.", w.local)
		}
		w.s.Receiver, w.opened, w.line = *c.Plug, false, nil
		w.rx = gnsstest.New(*c.Plug, w.rng.Uint64())
	}
	if c.Restart != nil {
		w.rx.Restart(*c.Restart)
	}
	for _, f := range c.Change {
		w.rx.Reconfigure(f)
	}
}

// weather is what becomes warm or cold.
func (w *World) weather(c *Chapter) {
	if m := c.Air; m != nil {
		to := m.ToC - 25 - w.s.Air.OffC
		if m.Usual {
			to = 0
		}
		w.room.add(w.utc, to, m.Over)
	}
	if m := c.Sun; m != nil {
		w.sun.add(w.utc, m.ToC, m.Over)
	}
	w.jumped += c.OscJump
}

// portBuffer is what a serial port keeps for a program that does not read, bytes
// (Linux n_tty.c: N_TTY_BUF_SIZE).
const portBuffer = 4096

// shows is the whole second that the hardware clock shows now.
func (w *World) shows() (timescale.UTC, bool) {
	f, err := w.rtc.At(w.utc)
	if err != nil || w.s.NoRTC {
		return 0, false
	}
	shows, err := f.UTC()
	return shows, err == nil
}

// pass lets true time go by without the local timescale.
func (w *World) pass(d time.Duration) {
	w.walkPPM += w.s.Osc.WanderPPM * w.rng.NormFloat64() * math.Sqrt(d.Hours())
	w.utc = w.utc.Add(d)
	w.transmit(d)
}

// Chapter is the text of the story's present chapter.
func (w *World) Chapter() string {
	if w.chapter < 0 {
		return ""
	}
	return w.s.Story[w.chapter].Text
}

// Healthy tells whether the receiver now has an open sky and nothing false or
// broken about it.
func (w *World) Healthy() bool {
	if w.chapter < 0 || w.s.NoReceiver {
		return false
	}
	s := &w.s.Story[w.chapter].Scene
	return s.Satellites >= 4 && s.FalseTime == 0 && s.FalseDrag == 0 && !s.Unplugged && !s.Stuck && !s.Held && s.Corrupt == 0
}
