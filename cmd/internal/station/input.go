package station

import (
	"errors"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
	"noonmark/status"
)

// Input is one thing that reaches a station: exactly one of its fields is set. All that a
// station judges comes as one of these, through Take, in one order; the same configuration
// and the same inputs give the same judgement. So a night is a list of them (package record).
type Input struct {
	Opened       *Opened                 `json:"opened,omitempty"`
	Heard        *Heard                  `json:"heard,omitempty"`
	Bytes        *Bytes                  `json:"bytes,omitempty"`
	Lost         *Reason                 `json:"lost,omitempty"`
	RTC          *rtc.Reading            `json:"rtc,omitempty"`
	RTCInvalid   *timescale.Local        `json:"rtc_invalid,omitempty"`
	RTCMissing   *Reason                 `json:"rtc_missing,omitempty"`
	RTCWritten   *Written                `json:"rtc_written,omitempty"`
	Network      *netref.Reading         `json:"network,omitempty"`
	Pulse        *Pulse                  `json:"pulse,omitempty"`
	PulseMissing *Reason                 `json:"pulse_missing,omitempty"`
	Mark         *clockcheck.Mark        `json:"mark,omitempty"`
	Withdraw     *timescale.Local        `json:"withdraw,omitempty"` // the newest mark is taken back, at this instant
	Air          *clockcheck.Air         `json:"air,omitempty"`
	Temperature  *clockcheck.Temperature `json:"temperature,omitempty"`
	KernelWrites *bool                   `json:"kernel_writes_rtc,omitempty"`
	Use          *string                 `json:"use,omitempty"`
	Problems     *[]status.Problem       `json:"problems,omitempty"`
	Tick         *Tick                   `json:"tick,omitempty"`
	Done         *Written                `json:"done,omitempty"`
}

// Opened is a receiver's port that was opened.
type Opened struct {
	Source
	At timescale.Local
}

// Heard is the speed at which sentences begin to come in.
type Heard struct {
	Baud int
	At   timescale.Local
}

// Bytes is what one read of the receiver's port returned. A station does not keep P.
type Bytes struct {
	P []byte
	Read
}

// Reason is why something is not there, and since when where that is known.
type Reason struct {
	Why string
	At  timescale.Local `json:",omitempty"`
}

// Pulse is one edge of the receiver's pulse.
type Pulse struct {
	At    timescale.Local
	Edge  clockcheck.Edge
	Sigma time.Duration
}

// Written is what was done to a clock, between two instants, or why it was not: Error is
// empty where it was. Denied says that the right to do it is missing.
type Written struct {
	Before, After timescale.Local
	Error         string `json:",omitempty"`
	Denied        bool   `json:",omitempty"`
}

func written(before, after timescale.Local, err error) *Written {
	w := &Written{Before: before, After: after}
	if err != nil {
		w.Error, w.Denied = err.Error(), errors.Is(err, steer.ErrNotPermitted)
	}
	return w
}

// failure is an error that was written down.
type failure struct{ *Written }

func (f failure) Error() string { return f.Written.Error }

// Is tells the one kind that makes a difference.
func (f failure) Is(target error) bool { return f.Denied && target == steer.ErrNotPermitted }

func (w *Written) err() error {
	if w.Error == "" {
		return nil
	}
	return failure{w}
}

// Take takes an input. It reports whether a mark, or what the air told, could be placed,
// and whether there was a mark to take back; true for everything else.
func (s *Station) Take(in *Input) bool {
	if s.cfg.Record != nil {
		s.cfg.Record(in)
	}
	switch {
	case in.Mark != nil:
		return s.takeMark(*in.Mark)
	case in.Withdraw != nil:
		return s.takeWithdraw(*in.Withdraw)
	case in.Air != nil:
		return s.takeAir(*in.Air)
	case in.Tick != nil:
		s.takeTick(*in.Tick)
	case in.Done != nil:
		s.takeDone(in.Done.After, in.Done.err())
	case in.Use != nil:
		s.takeUse(*in.Use)
	case in.Problems != nil:
		s.takeProblems(*in.Problems)
	case in.Temperature != nil:
		s.takeTemperature(*in.Temperature)
	case in.Network != nil:
		s.takeNetwork(*in.Network)
	case in.KernelWrites != nil:
		s.takeKernelWritesRTC(*in.KernelWrites)
	default:
		s.takeDevice(in)
	}
	return true
}

// takeDevice takes what comes of the receiver, its pulse and the hardware clock.
func (s *Station) takeDevice(in *Input) {
	switch {
	case in.Bytes != nil:
		s.takeBytes(in.Bytes.P, in.Bytes.Read)
	case in.Opened != nil:
		s.takeOpened(in.Opened.Source, in.Opened.At)
	case in.Heard != nil:
		s.takeHeard(in.Heard.Baud, in.Heard.At)
	case in.Lost != nil:
		s.takeLost(in.Lost.Why, in.Lost.At)
	case in.RTC != nil:
		s.takeRTC(*in.RTC)
	case in.RTCInvalid != nil:
		s.takeRTCInvalid(*in.RTCInvalid)
	case in.RTCMissing != nil:
		s.takeRTCMissing(in.RTCMissing.Why)
	case in.RTCWritten != nil:
		s.takeRTCWritten(in.RTCWritten.Before, in.RTCWritten.After, in.RTCWritten.err())
	case in.Pulse != nil:
		s.takePulse(in.Pulse.At, in.Pulse.Edge, in.Pulse.Sigma)
	case in.PulseMissing != nil:
		s.takePulseMissing(in.PulseMissing.Why)
	}
}
