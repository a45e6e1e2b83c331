package follow

import (
	"strings"
	"testing"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// at is a status of a station whose clock is right, as of t seconds after the boot.
func at(t float64, change func(*status.Snapshot)) Look {
	const begin = timescale.UTC(1927944306e9)
	utc := begin.Add(0) + timescale.UTC(t*1e9)
	s := &status.Snapshot{Schema: status.SchemaName, Live: true,
		Written: status.Written{SystemUTC: status.At(utc), BootID: "b", BoottimeS: t, StaleAfterS: 3, AsleepS: status.Known(0)},
		Clock:   status.Clock{Basis: "gnss", ErrorS: status.Known(0), GuardS: status.Known(0.1), BoundS: status.Known(0.1), Because: "It is so."},
		Modes: []status.Mode{{Mode: "FT8", PeriodS: 15, ToleranceS: 1, Verdict: status.Within, MarginS: status.Known(0.9), GoodForS: status.Known(1000)},
			{Mode: "FT4", PeriodS: 7.5, ToleranceS: 0.05, Verdict: status.Borderline}},
		Position:   &status.Position{Locator: "FG69gu18et"},
		References: []status.Reference{{Name: "receiver", Kind: "gnss", Trust: status.Trusted}, {Name: "hardware clock", Kind: "rtc", Trust: status.Warming}},
	}
	if change != nil {
		change(s)
	}
	return Look{Status: s, Now: status.Now{BootID: "b", BoottimeS: t + 0.1, System: utc + 1e8, AsleepS: status.Known(0)}}
}

func none(t float64) Look {
	return Look{Now: status.Now{BootID: "b", BoottimeS: t, AsleepS: status.Known(0)}, Problem: "nothing is published"}
}

func TestWatcher(t *testing.T) {
	verdict := func(i int, v string) func(*status.Snapshot) {
		return func(s *status.Snapshot) { s.Modes[i].Verdict = v }
	}
	locator := func(l string) func(*status.Snapshot) { return func(s *status.Snapshot) { s.Position.Locator = l } }
	battery := func(b string) func(*status.Snapshot) { return func(s *status.Snapshot) { s.References[1].Battery = b } }
	use := func(i int) func(*status.Snapshot) { return func(s *status.Snapshot) { s.Modes[i].InUse = true } }
	stale := func(l Look) Look { l.Now.BoottimeS += 10; l.Now.System += 10e9; return l }
	simulated := func(s *status.Snapshot) { s.Live = false }
	stepped := func(l Look) Look { l.Now.System += 2e9; return l }
	for _, tt := range []struct {
		name  string
		looks []Look
		want  string // events in order, "kind what is/was"
	}{
		{"nothing changes", []Look{at(1, nil), at(2, nil)}, ""},
		{"the first look is no news", []Look{at(1, verdict(0, status.Outside))}, ""},
		{"lost and regained", []Look{at(1, nil), at(2, verdict(0, status.Borderline)), at(3, nil)},
			"verdict-lost FT8 borderline/within, verdict-regained FT8 within/"},
		{"from one bad verdict to another", []Look{at(1, verdict(0, status.Unknown)), at(2, verdict(0, status.Outside))}, ""},
		{"at boot: no status, then a clock that is right", []Look{none(1), none(2), at(3, verdict(0, status.Unknown)), at(4, nil)},
			"verdict-regained FT8 within/"},
		{"at boot: right at once", []Look{none(1), at(2, nil)}, "verdict-regained FT8 within/"},
		{"the service hangs", []Look{at(1, nil), stale(at(1, nil)), stale(at(1, nil))}, "verdict-lost FT8 unknown/within"},
		{"the service is gone and comes back", []Look{at(1, nil), none(2), none(3), at(4, nil)},
			"verdict-lost FT8 unknown/within, verdict-regained FT8 within/"},
		{"a simulation is not this clock", []Look{at(1, nil), at(2, simulated)}, "verdict-lost FT8 unknown/within"},
		{"nothing is said of a simulation", []Look{at(1, simulated), at(2, func(s *status.Snapshot) { simulated(s); s.References[0].Trust = "faulty" })}, ""},
		{"somebody steps the clock", []Look{at(1, nil), stepped(at(1, nil))}, "verdict-lost FT8 outside/within"},
		{"another mode is in use", []Look{at(1, nil), at(2, use(1)), at(3, use(0))}, ""},
		{"only the mode in use counts", []Look{at(1, use(1)), at(2, func(s *status.Snapshot) { use(1)(s); verdict(0, status.Outside)(s) })}, ""},
		{"trust", []Look{at(1, nil), at(2, func(s *status.Snapshot) { s.References[0].Trust = status.Silent }), at(3, nil)},
			"trust-changed receiver silent/trusted, trust-changed receiver trusted/silent"},
		{"a new reference", []Look{at(1, nil), at(2, func(s *status.Snapshot) {
			s.References = append(s.References, status.Reference{Name: "server", Trust: "warming"})
		})}, ""},
		{"battery low at the first look, then empty", []Look{at(1, battery("low")), at(2, battery("low")), at(3, battery("empty")), at(4, battery("good"))},
			"battery-low hardware clock low/, battery-low hardware clock empty/low"},
		{"a finer and a coarser fix", []Look{at(1, locator("FG69gu")), at(20, nil), at(40, locator("FG69")), at(60, nil)}, ""},
		{"moved", []Look{at(1, nil), at(20, locator("FG69hu")), at(25, locator("FG69hu11")), at(31, locator("FG69hu")), at(50, locator("FG69hu"))},
			"locator-changed FG69hu FG69hu/FG69gu"},
		{"to and fro at an edge", []Look{at(1, nil), at(20, locator("FG69hu")), at(25, nil), at(31, locator("FG69hu")), at(35, nil)}, ""},
		{"kept from before, then a fix elsewhere", []Look{none(0), at(1, func(s *status.Snapshot) { s.Position.Kept = true }), at(2, locator("FG69hu")), at(20, locator("FG69hu"))},
			"verdict-regained FT8 within/, locator-changed FG69hu FG69hu/FG69gu"},
		{"the first fix", []Look{at(1, func(s *status.Snapshot) { s.Position = nil }), at(2, nil), at(20, nil)}, "locator-changed FG69gu18et FG69gu/"},
	} {
		var w Watcher
		var got []string
		for _, l := range tt.looks {
			for _, e := range w.Take(l) {
				got = append(got, e.Kind+" "+e.Mode+e.Reference+e.Locator+" "+e.Is+"/"+e.Was)
				if e.Text == "" {
					t.Errorf("%s: %s without a sentence", tt.name, e.Kind)
				}
			}
		}
		if s := strings.Join(got, ", "); s != tt.want {
			t.Errorf("%s:\ngot  %s\nwant %s", tt.name, s, tt.want)
		}
	}
}
