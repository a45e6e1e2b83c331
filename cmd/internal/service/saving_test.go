package service

import (
	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/rtc"
	"slices"
	"testing"
	"time"
)

func TestWhenIsSaved(t *testing.T) {
	st := station.New(station.Config{}, clockcheck.Learned{})
	s := &service{station: st} // without a directory, save notes the instant only
	begin := timescale.Local(20e9)
	utc := timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 6, 0, time.UTC))
	st.Network(netref.Reading{Server: "192.0.2.1", At: begin, UTC: utc, Bound: 10 * time.Millisecond})
	st.RTC(rtc.Reading{Edge: begin, Half: time.Millisecond, Value: utc})
	var saves []time.Duration
	for at := begin; at < begin.Add(3*time.Hour); at = at.Add(time.Second) {
		st.KernelWritesRTC(at >= begin.Add(90*time.Minute)) // then what was kept holds no more
		if s.saving.Due(at, st.Urgent()) {
			s.save(at)
			saves = append(saves, at.Sub(begin))
		}
	}
	// The server's proof of the second is saved at once, and takes no turn away.
	want := []time.Duration{0, 5 * time.Minute, 10 * time.Minute, 20 * time.Minute, 40 * time.Minute, 80 * time.Minute,
		90 * time.Minute, 160 * time.Minute}
	if !slices.Equal(saves, want) {
		t.Errorf("saved after %v, want %v", saves, want)
	}
}
