package status

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// after is the present of a reader, age seconds after s was written, the system
// clock having been stepped by step seconds in between.
func after(s Snapshot, age, step float64) Now {
	return Now{BootID: s.Written.BootID, BoottimeS: s.Written.BoottimeS + age, AsleepS: s.Written.AsleepS,
		System: s.Written.SystemUTC.V.Add(time.Duration((age + step) * 1e9))}
}

func TestFresh(t *testing.T) {
	change := func(f func(*Snapshot)) Snapshot { s := full(); f(&s); return s }
	good := after(full(), 1, 0)
	for _, tt := range []struct {
		name string
		s    Snapshot
		now  Now
		ok   bool
		step float64
		want string
	}{
		{"another boot", change(func(s *Snapshot) { s.Written.BootID = "b0" }), good, false, 0, "before the computer was last started"},
		{"no boot named", change(func(s *Snapshot) { s.Written.BootID = "" }), Now{}, false, 0, "does not say which start"},
		{"old", full(), after(full(), 3.01, 0), false, 0, "3.0 s old: noonmark has stopped or hangs"},
		{"very old", full(), after(full(), 90000, 0), false, 0, "25 h old"},
		{"from the future", full(), after(full(), -0.5, 0), false, 0, "from the future"},
		{"says it never grows old", change(func(s *Snapshot) { s.Written.StaleAfterS = 1e9 }), after(full(), 61, 0), false, 0, "61 s old"},
		{"says it is stale at once", change(func(s *Snapshot) { s.Written.StaleAfterS = 0 }), good, false, 0, "1.0 s old"},
		{"stale by NaN", change(func(s *Snapshot) { s.Written.StaleAfterS = math.NaN() }), good, false, 0, "1.0 s old"},
		{"boot time NaN", change(func(s *Snapshot) { s.Written.BoottimeS = math.NaN() }), good, false, 0, "from the future"},
		{"no system time", change(func(s *Snapshot) { s.Written.SystemUTC = Time{} }), good, false, 0, "does not say what the system clock read"},
		{"slept", full(), Now{"b1", 813.4, good.System, Known(0.7)}, false, 0, "slept since"},
		{"stepped forward", full(), after(full(), 1, 0.4), true, 0.4, "forward by 0.400 s since the status was written 1.0 s ago"},
		{"stepped back", full(), after(full(), 1, -3600), true, -3600, "back by 3600 s"},
		{"not moved", full(), good, true, 0, "1.0 s old"},
		{"moved by reading", full(), after(full(), 1, 0.001), true, 0, "1.0 s old"},
		{"read at once", full(), after(full(), -0.0005, 0), true, 0, "0.0 s old"},
		{"old writer: sleep not said", change(func(s *Snapshot) { s.Written.AsleepS = Float{} }), Now{"b1", 813.4, good.System, Known(0.7)}, true, 0, "1.0 s old"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := Fresh(tt.s, tt.now)
			if got.OK != tt.ok || math.Abs(got.StepS-tt.step) > 1e-6 || !strings.Contains(got.Because, tt.want) {
				t.Errorf("got %+v, want %v, %g, %q", got, tt.ok, tt.step, tt.want)
			}
		})
	}
}

func TestReady(t *testing.T) {
	change := func(f func(*Snapshot)) Snapshot { s := full(); f(&s); return s }
	all := change(func(s *Snapshot) { s.Modes = s.Modes[:1]; s.Modes[0].InUse = false })
	good := after(full(), 1, 0)
	for _, tt := range []struct {
		name     string
		s        Snapshot
		now      Now
		modes    string
		answer   string
		exit     int
		verdicts string
		because  string
	}{
		{"a simulation", change(func(s *Snapshot) { s.Live = false }), good, "", CannotTell, 3, Unknown, "simulation or a replay"},
		{"stale", full(), after(full(), 5, 0), "", CannotTell, 3, Unknown, "5.0 s old"},
		{"no modes at all", change(func(s *Snapshot) { s.Modes = nil }), good, "", CannotTell, 3, "", "judges no mode"},
		{"stepped out", full(), after(full(), 1, 2), "", No, 1, Outside, "forward by 2.000 s"},
		{"stepped to the edge", full(), after(full(), 1, 0.9), "", No, 1, Borderline, "forward by 0.900 s"},
		{"stepped, and still within", full(), after(full(), 1, 0.2), "", Yes, 0, Within, "forward by 0.200 s"},
		{"stepped right, but was outside", full(), after(full(), 1, 0.012), "JS8-6", No, 1, Outside, "forward"},
		{"promise run out", change(func(s *Snapshot) { s.Modes[0].GoodForS = Known(0.5) }), good, "", No, 1, Borderline, ""},
		{"promise run out by UTC", change(func(s *Snapshot) { s.Modes[0].GoodUntilUTC = s.Written.SystemUTC }), good, "", No, 1, Borderline, ""},
		{"verdict without numbers", change(func(s *Snapshot) { s.Clock.GuardS = Float{} }), good, "", No, 1, Unknown, ""},
		{"verdict without basis", change(func(s *Snapshot) { s.Clock.Basis = BasisNone }), good, "", No, 1, Unknown, ""},
		{"verdict against its numbers", change(func(s *Snapshot) { s.Clock.ErrorS = Known(-0.95) }), good, "", No, 1, Borderline, ""},
		{"negative guard", change(func(s *Snapshot) { s.Clock.GuardS = Known(-5) }), good, "", No, 1, Unknown, ""},
		{"tolerance of nothing", change(func(s *Snapshot) { s.Modes[0].ToleranceS = 0 }), good, "", No, 1, Unknown, ""},
		{"verdict of another word", change(func(s *Snapshot) { s.Modes[0].Verdict = "splendid" }), good, "", No, 1, Unknown, ""},
		// |error| + guard = 0.154 s when written.
		{"used up by a second's slew", change(func(s *Snapshot) { s.Modes[0].ToleranceS = 0.1562 }), good, "", No, 1, Borderline, ""},
		{"used up by what cannot be called a step", change(func(s *Snapshot) { s.Modes[0].ToleranceS = 0.1572 }), after(full(), 1, 0.0015), "", No, 1, Borderline, ""},
		{"outside stays outside", change(func(s *Snapshot) { s.Modes[2].ToleranceS = 0.15 }), good, "JS8-6", No, 1, Outside, ""},
		{"one of two", full(), good, "FT8 FT4", No, 1, "within borderline", ""},
		{"mode in use", full(), good, "", Yes, 0, Within, "31 min"},
		{"all shown", all, good, "", Yes, 0, Within, "31 min"},
		{"in small letters", full(), good, "ft8", Yes, 0, Within, "31 min"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			before, _ := json.Marshal(tt.s)
			r, err := Ready(tt.s, tt.now, strings.Fields(tt.modes))
			if err != nil {
				t.Fatal(err)
			}
			verdicts := []string{}
			for _, m := range r.Modes {
				verdicts = append(verdicts, m.Verdict)
			}
			if got := strings.Join(verdicts, " "); r.Answer != tt.answer || r.ExitCode() != tt.exit || got != tt.verdicts ||
				!strings.Contains(r.Because, tt.because) {
				t.Errorf("got %+v", r)
			}
			if !strings.Contains(r.Text(), "Ready: "+tt.answer+".") {
				t.Errorf("text %q", r.Text())
			}
			if now, _ := json.Marshal(tt.s); string(now) != string(before) {
				t.Error("Ready changed the snapshot")
			}
		})
	}
	var me *ModeError
	if _, err := Ready(full(), good, []string{"FT8", "FT9"}); !errors.As(err, &me) ||
		!strings.Contains(err.Error(), `"FT9"`) || !strings.Contains(err.Error(), "FT8, FT4, JS8-6, WSPR") {
		t.Errorf("got %v", err)
	}
	if r := Refusal("No."); r.ExitCode() != 3 {
		t.Errorf("got %+v", r)
	}
}

// The safety property, seen from a reader: if the published error ± guard held the
// truth when it was written, then whatever happened to the clock since (a step,
// the largest slew, readings that jitter), yes means within. And nothing is better
// than it was published.
func TestReadyIsSafe(t *testing.T) {
	yes := 0
	rapid.Check(t, func(t *rapid.T) {
		s := full()
		tol := rapid.Float64Range(0.05, 2).Draw(t, "tolerance")
		s.Clock.ErrorS = Known(rapid.Float64Range(-1.2, 1.2).Draw(t, "error") * tol)
		s.Clock.GuardS = Known(rapid.Float64Range(0, 1.2).Draw(t, "guard") * tol)
		truth := s.Clock.ErrorS.V + s.Clock.GuardS.V*rapid.Float64Range(-1, 1).Draw(t, "truth")
		m := Mode{Mode: "FT8", ToleranceS: tol, Verdict: verdict(s.Clock.ErrorS.V, s.Clock.GuardS.V, tol)}
		s.Modes = []Mode{m}
		age := rapid.Float64Range(0, 3).Draw(t, "age")
		step := rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(-0.004, 0.004), rapid.Float64Range(-2, 2)).Draw(t, "step")
		// A slew moves the error but not the pair of clocks (see fresh.go).
		truth += step + age*rapid.Float64Range(-slewShare, slewShare).Draw(t, "slew")
		jitter := rapid.Float64Range(-stepFloorS, stepFloorS).Draw(t, "jitter")
		r, err := Ready(s, after(s, age, step+jitter), nil)
		if err != nil {
			t.Fatal(err)
		}
		if r.Answer == Yes {
			yes++
			// 1 µs: the resolution of what is written.
			if math.Abs(truth) > tol+1e-6 || m.Verdict != Within {
				t.Fatalf("yes, but the error is %g s of %g s; it was %s", truth, tol, m.Verdict)
			}
		}
	})
	if yes == 0 {
		t.Error("never yes: nothing was tested")
	}
}

// verdict is the design's guarded acceptance, written a second time.
func verdict(e, g, tol float64) string {
	switch {
	case math.Abs(e)+g <= tol:
		return Within
	case math.Abs(e)-g > tol:
		return Outside
	}
	return Borderline
}

// The kernel's two clocks, read twice on this machine, show no step.
func TestReadNow(t *testing.T) {
	n, err := ReadNow()
	if err != nil {
		t.Fatal(err)
	}
	s := full()
	s.Written = Written{SystemUTC: At(n.System), BootID: n.BootID, BoottimeS: n.BoottimeS, StaleAfterS: 3, AsleepS: n.AsleepS}
	if d := time.Since(n.System.Time()); d < -time.Second || d > time.Second || n.BoottimeS <= 0 || len(n.BootID) != 36 {
		t.Errorf("got %+v, %s ago", n, d)
	}
	time.Sleep(20 * time.Millisecond)
	if err := n.Read(); err != nil {
		t.Fatal(err)
	}
	if f := Fresh(s, n); !f.OK || f.StepS != 0 || f.AgeS < 0.02 {
		t.Errorf("got %+v", f)
	}
}
