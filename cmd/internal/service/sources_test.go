package service

import (
	"fmt"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/port"
)

// A receiver that is switched on later than the computer: its port was open all the
// while, and had been given up for silent.
func TestReceiverSpeaksAfterSilence(t *testing.T) {
	s, _ := bench(t, nil, 0)
	at := hostclock.Now()
	s.takeReceiver(port.Event{Kind: port.Opened, Path: "/dev/ttyX0", Baud: 9600, At: at})
	s.takeReceiver(port.Event{Kind: port.Waiting, Reason: "/dev/ttyX0 is open but silent", At: at.Add(30 * time.Second)})
	s.takeReceiver(port.Event{Kind: port.Heard, Path: "/dev/ttyX0", Baud: 115200, At: at.Add(40 * time.Second)})
	for n := range 3 {
		line := clitest.Sentence(fmt.Sprintf("GPRMC,0405%02d.00,A,2007.8000,S,06729.4000,W,0.0,0.0,030231,,,A", n))
		s.takeReceiver(port.Event{Kind: port.Data, Data: []byte(line), At: at.Add(time.Duration(41+n) * time.Second), Quiet: time.Second})
	}
	snap := s.station.Tick(station.Tick{Local: at.Add(44 * time.Second), System: timescale.UTC(at)})
	if snap.Receiver == nil || snap.Receiver.Epochs < 2 || snap.Receiver.Baud != 115200 {
		t.Errorf("%+v", snap.Receiver)
	}
}
