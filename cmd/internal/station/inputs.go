package station

import (
	"slices"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
	"noonmark/rtc"
	"noonmark/status"
)

// One method an input, for those who have it in hand. Each goes through Take.

// Opened says that a receiver's port was opened at an instant: what it proved
// before counts no more.
func (s *Station) Opened(src Source, at timescale.Local) { s.Take(&Input{Opened: &Opened{src, at}}) }

// Heard says that sentences begin to come in at this speed of the line, in bits a
// second: for the first time, or again on a port that stayed open while Lost was said of
// its receiver. What is heard then has been switched on again, for all we know.
func (s *Station) Heard(baud int, at timescale.Local) { s.Take(&Input{Heard: &Heard{baud, at}}) }

// Bytes takes what a read returned.
func (s *Station) Bytes(p []byte, r Read) { s.Take(&Input{Bytes: &Bytes{p, r}}) }

// Lost says that the receiver's port is gone or is not to be had, or that nothing comes
// from it, and why.
func (s *Station) Lost(why string, at timescale.Local) { s.Take(&Input{Lost: &Reason{why, at}}) }

// RTC takes a reading of the hardware clock.
func (s *Station) RTC(r rtc.Reading) { s.Take(&Input{RTC: &r}) }

// RTCInvalid says that the chip itself calls its time lost.
func (s *Station) RTCInvalid(at timescale.Local) { s.Take(&Input{RTCInvalid: &at}) }

// RTCMissing says that there is no hardware clock to be read, and why.
func (s *Station) RTCMissing(why string) { s.Take(&Input{RTCMissing: &Reason{Why: why}}) }

// RTCWritten says that the hardware clock was written as Actions wanted, between two
// instants, or why it was not.
func (s *Station) RTCWritten(before, after timescale.Local, err error) {
	s.Take(&Input{RTCWritten: written(before, after, err)})
}

// Network takes a server's answer.
func (s *Station) Network(r netref.Reading) { s.Take(&Input{Network: &r}) }

// Pulse takes one edge of the receiver's pulse: when it came, which of its two edges
// it is, and the standard deviation of that instant.
func (s *Station) Pulse(at timescale.Local, edge clockcheck.Edge, sigma time.Duration) {
	s.Take(&Input{Pulse: &Pulse{at, edge, sigma}})
}

// PulseMissing says that no pulse is to be had, and why.
func (s *Station) PulseMissing(why string) { s.Take(&Input{PulseMissing: &Reason{Why: why}}) }

// Mark takes an operator's mark; it reports whether the mark could be placed (see
// banked.Judge.Mark).
func (s *Station) Mark(m clockcheck.Mark) bool { return s.Take(&Input{Mark: &m}) }

// Withdraw takes the newest mark back, with all that was learned from it; it reports
// whether there was one. The next Tick judges without it.
func (s *Station) Withdraw(now timescale.Local) bool { return s.Take(&Input{Withdraw: &now}) }

// Air takes what was heard on the air; it reports whether it could be placed (see
// banked.Judge.Air).
func (s *Station) Air(a clockcheck.Air) bool { return s.Take(&Input{Air: &a}) }

// Temperature takes a reading of a thermometer in or beside the computer.
func (s *Station) Temperature(r clockcheck.Temperature) { s.Take(&Input{Temperature: &r}) }

// KernelWritesRTC says whether the kernel's own writes to the hardware clock are on.
func (s *Station) KernelWritesRTC(on bool) { s.Take(&Input{KernelWrites: &on}) }

// Use names the mode in use, "" for none: the gap for a step follows it.
func (s *Station) Use(mode string) { s.Take(&Input{Use: &mode}) }

// Problems names what else is wrong about the station, for the next snapshots.
func (s *Station) Problems(list []status.Problem) {
	if !slices.Equal(list, s.snap.Problems) {
		s.Take(&Input{Problems: &list})
	}
}

// Tick judges the clock now. The snapshot is the station's, until the next Tick.
func (s *Station) Tick(t Tick) *status.Snapshot {
	s.Take(&Input{Tick: &t})
	return &s.snap
}

// Snapshot is that of the last Tick.
func (s *Station) Snapshot() *status.Snapshot { return &s.snap }

// Done says that the kernel did what Actions wanted, or why it did not. After a step
// the last snapshot speaks of another clock: Tick again before publishing.
func (s *Station) Done(now timescale.Local, err error) { s.Take(&Input{Done: written(now, now, err)}) }
