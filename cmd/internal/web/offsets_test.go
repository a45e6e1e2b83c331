package web

import (
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/status"
)

// fastStation is a station whose clock is 0.8 s fast by a time signal, and what is by hand there.
func fastStation(t *testing.T) (*ByHand, *status.Snapshot, func() *status.Snapshot) {
	t.Helper()
	st := station.New(station.Config{Live: true}, clockcheck.Learned{})
	owner := make(chan func())
	t.Cleanup(func() { close(owner) })
	h := NewByHand(HandConfig{Owner: owner, Station: func() *station.Station { return st }, Live: true})
	go func() {
		for do := range owner {
			do()
		}
	}()
	at, system := timescale.Local(1e12), timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 6, 0, time.UTC))
	st.Air(clockcheck.Air{Source: "WWV", At: at, UTC: system.Add(-800 * time.Millisecond), Bound: 100 * time.Millisecond, Signals: 1})
	tick := func() *status.Snapshot {
		at, system = at.Add(time.Second), system.Add(time.Second)
		s := st.Tick(station.Tick{Local: at, System: system})
		h.Saw(s, at)
		return s
	}
	return h, tick(), tick
}

func crowdTrust(s *status.Snapshot) string {
	for _, r := range s.References {
		if r.Name == clockcheck.Crowd {
			return r.Trust
		}
	}
	return ""
}

// TestOffsetsOfThePage: the sign, by a station whose clock is known to be 0.8 s fast. Its
// decoder shows the others 0.8 s late; the same numbers with the other sign contradict.
func TestOffsetsOfThePage(t *testing.T) {
	for _, row := range []struct{ typed, says, trust string }{
		{"0.8 0.9 0.7 0.8 1.0", " s fast ±", status.Trusted},
		{"0,8, 0,9; +0.7s 0.8 1.0", " s fast ±", status.Trusted},
		{"-0.8 -0.9 −0.7 -0.8 -1.0", " s slow ±", status.Doubted},
	} {
		h, _, tick := fastStation(t)
		text, err := h.Offsets("FT8", strings.Fields(row.typed))
		if err != nil || !strings.Contains(text, row.says) || !strings.Contains(text, "By 5 stations") {
			t.Errorf("%s: %q, %v", row.typed, text, err)
		}
		if got := crowdTrust(tick()); got != row.trust {
			t.Errorf("%s: the crowd is %q, want %q", row.typed, got, row.trust)
		}
	}
}

func TestOffsetsRefused(t *testing.T) {
	for _, row := range []struct{ mode, typed, why string }{
		{"FT8", "0.8 0.9 0.7 0.8", "too few"},
		{"FT8", "0.8 0.9 0.7 0.8 x", `"x" is not an offset`},
		{"FT8", "0.8 0.9 0.7 0.8 NaN", "is not an offset"},
		{"FT8", "0.8 0.9 0.7 0.8 7.6", "is not an offset"},
		{"FT8", "-7 -3 0 3 7", "mistyped sign"},
		{"WSPR", "0.8 0.9 0.7 0.8 1.0", "cannot be found"},
	} {
		h, _, tick := fastStation(t)
		if text, err := h.Offsets(row.mode, strings.Fields(row.typed)); err == nil || !strings.Contains(err.Error(), row.why) {
			t.Errorf("%s: %q, %v", row.typed, text, err)
		}
		if got := crowdTrust(tick()); got != "" {
			t.Errorf("%s: refused, and the crowd is %q", row.typed, got)
		}
	}
}

// TestOffsetsOfAClockSteppedSince: what was read off before a step is of another clock.
func TestOffsetsOfAClockSteppedSince(t *testing.T) {
	for _, kind := range []string{"stepped", "clock-stepped"} {
		for ago, taken := range map[time.Duration]bool{10 * time.Second: false, crowd.ReadWithin - time.Second: false, crowd.ReadWithin + time.Second: true} {
			h, s, tick := fastStation(t)
			utc := s.Written.SystemUTC.V.Add(-800 * time.Millisecond)
			s.Events = append(s.Events, status.Event{UTC: status.At(utc.Add(-ago)), Kind: kind})
			_, err := h.Offsets("FT8", strings.Fields("0.8 0.9 0.7 0.8 1.0"))
			if (err == nil) != taken || err != nil && !strings.Contains(err.Error(), "stepped") {
				t.Errorf("%s %v ago: %v", kind, ago, err)
			}
			if got := crowdTrust(tick()); (got != "") != taken {
				t.Errorf("%s %v ago: the crowd is %q", kind, ago, got)
			}
		}
	}
}
