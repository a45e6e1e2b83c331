package report

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/grid"
	"noonmark/status"

	"pgregory.net/rapid"
)

var k = status.Known

// camp is a good status; now is a second and a half later, and the clock 20 ms fast.
func camp(change func(*status.Snapshot)) status.Snapshot {
	s := status.Snapshot{Live: true, Written: status.Written{BootID: "b", BoottimeS: 1000, StaleAfterS: 3,
		SystemUTC: status.At(timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 6, 20e6, time.UTC)))},
		Clock: status.Clock{Basis: status.BasisGNSS, ErrorS: k(0.02), BoundS: k(0.05), GuardS: k(0.06)},
		Modes: []status.Mode{{Mode: "FT8", Verdict: status.Within}, {Mode: "FT4", Verdict: status.Borderline}},
		Position: &status.Position{Locator: "FG69gu18et", LatDeg: k(-20.13), LonDeg: k(-67.49), AltM: k(3656), BoundM: k(8.3),
			Fix: "3d", Satellites: k(11), AgeS: k(0.4), EdgeM: k(2)}}
	if change != nil {
		change(&s)
	}
	return s
}

func later(s status.Snapshot, age float64) status.Now {
	return status.Now{BootID: "b", BoottimeS: 1000 + age, System: s.Written.SystemUTC.V.Add(time.Duration(age * 1e9))}
}

func place(f func(*status.Position)) func(*status.Snapshot) {
	return func(s *status.Snapshot) { f(s.Position) }
}

// base is about √(36.5² + 70.0²) km off: a third of a degree of latitude and 0.67 of
// one of longitude there. (Distances as such are checked in grid, against GeodSolve.)
func base(t testing.TB) *Place {
	t.Helper()
	pt, err := grid.Degrees(-20.46, -66.82)
	if err != nil {
		t.Fatal(err)
	}
	return &Place{Name: "Base", End: grid.EndOf(pt, 0)}
}

func make1(t testing.TB, s status.Snapshot, distress bool, to *Place) Report {
	t.Helper()
	r, err := Make(s, later(s, 1.5), distress, to)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestTexts(t *testing.T) {
	for _, row := range []struct {
		name     string
		change   func(*status.Snapshot)
		distress bool
		to       bool
		want     string
	}{
		{"all is well", nil, false, false,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.13000 S 67.49000 W, within 10 m, fix of now.\n"},
		{"with a way", nil, false, true,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.13000 S 67.49000 W, within 10 m, fix of now.\n78.9 km, 118 degrees true, to Base. By compass not known after 2029.\n"},
		{"a simulation", func(s *status.Snapshot) { s.Live = false }, false, false,
			"EXERCISE: this is a simulated station.\nI am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.13000 S 67.49000 W, within 10 m, fix of now.\n"},
		{"no mode is within", func(s *status.Snapshot) { s.Modes[0].Verdict = status.Outside }, false, false,
			"I am here and well. 2031-02-03 04:05 UTC (time not confirmed).\nLocator FG69gu18et.\n20.13000 S 67.49000 W, within 10 m, fix of now.\n"},
		{"nothing tells the time", func(s *status.Snapshot) { s.Clock, s.Modes = status.Clock{}, nil }, false, false,
			"I am here and well. 2031-02-03 04:05 UTC (time not confirmed).\nLocator FG69gu18et.\n20.13000 S 67.49000 W, within 10 m, fix of now.\n"},
		{"an old fix", place(func(p *status.Position) { p.AgeS = k(10920) }), false, false,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.13000 S 67.49000 W, within 10 m, OLD: 3 h 2 min ago.\n"},
		{"kept", place(func(p *status.Position) { p.Kept, p.AgeS = true, status.Float{} }), false, false,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.13000 S 67.49000 W, within 10 m, OLD: from before the last start, age not known.\n"},
		{"a poor fix", place(func(p *status.Position) { p.BoundM, p.Locator = k(4321), "FG69" }), false, true,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69.\n20.130 S 67.490 W, POOR: only within 4.4 km, fix of now.\n78.9 km, give or take 4.4 km, 118 degrees true give or take 4, to Base. By compass not known after 2029.\n"},
		{"nobody knows how good", place(func(p *status.Position) { p.BoundM, p.Locator = status.Float{}, "" }), false, false,
			"I am here and well. 2031-02-03 04:05 UTC.\n20.130 S 67.490 W, accuracy not known, fix of now.\n"},
		{"nobody knows how good, a long locator", place(func(p *status.Position) { p.BoundM = status.Float{} }), false, false,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.13000 S 67.49000 W, accuracy not known, fix of now.\n"},
		{"so near that no bearing is sure", place(func(p *status.Position) { p.BoundM, p.LatDeg, p.LonDeg = k(60e3), k(-20.1), k(-66.8) }), false, true,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.100 S 66.800 W, POOR: only within 60.1 km, fix of now.\n39.9 km, give or take 60.0 km to Base.\n"},
		{"a bearing that is not sure", place(func(p *status.Position) { p.BoundM = k(55e3) }), false, true,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.130 S 67.490 W, POOR: only within 55.1 km, fix of now.\n78.9 km, give or take 55.0 km, 118 degrees true give or take 46, to Base. By compass not known after 2029.\n"},
		{"made coarse", place(func(p *status.Position) { p.EdgeM = status.Float{} }), false, false,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.13000 S 67.49000 W, within 10 m, fix of now.\n"},
		{"moving", place(func(p *status.Position) { p.Moving = true }), false, false,
			"I am here and well. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n20.13000 S 67.49000 W, within 10 m, fix of now, moving.\n"},
		{"distress", nil, true, false,
			"20.13000 S 67.49000 W = 20°07.8000'S 067°29.4000'W\nwithin 10 m, fix of now. 2031-02-03 04:05 UTC.\nLocator FG69gu18et.\n3656 m above the sea.\n" +
				"Read aloud: two zero decimal one three zero zero zero south, six seven decimal four nine zero zero zero west.\n" +
				"Locator aloud: Foxtrot Golf, six nine, Golf Uniform, one eight, Echo Tango.\n"},
	} {
		t.Run(row.name, func(t *testing.T) {
			var to *Place
			if row.to {
				to = base(t)
			}
			r := make1(t, camp(row.change), row.distress, to)
			if got := r.Text(); got != row.want {
				t.Errorf("got\n%s\nwant\n%s", got, row.want)
			}
			if row.change != nil && len(r.Problems) == 0 || row.change == nil && len(r.Problems) != 0 {
				t.Errorf("problems: %q", r.Problems)
			}
		})
	}
}

func TestFit(t *testing.T) {
	sim := func(s *status.Snapshot) { s.Live = false }
	unproved := func(s *status.Snapshot) { s.Modes = nil }
	old := place(func(p *status.Position) { p.AgeS = k(10920) })
	poor := place(func(p *status.Position) { p.BoundM, p.Locator = k(4321), "FG69" })
	for _, row := range []struct {
		name     string
		change   func(*status.Snapshot)
		distress bool
		n        int
		want     string
	}{
		{"nothing fits", nil, false, 3, ""},
		{"nothing fits, distress", nil, true, 12, ""},
		{"all", nil, false, 120, "I AM HERE AND WELL 2031-02-03 0405Z FG69GU18ET 20.13000S 67.49000W +-10M 78.9 KM 118T TO BASE"},
		{"80", nil, false, 80, "WELL 030405Z FG69GU18ET 20.13000S 67.49000W +-10M 78.9 KM 118T TO BASE"},
		{"50", nil, false, 50, "WELL 030405Z FG69GU18ET 20.1300S 67.4900W +-17M"},
		{"40", nil, false, 40, "WELL 030405Z FG69GU18 20.1300S 67.4900W"},
		{"30", nil, false, 30, "WELL 030405Z FG69GU18ET"},
		{"13", nil, false, 13, "WELL FG69GU18"},
		{"4", nil, false, 4, "FG69"},
		{"old, 60", old, false, 60, "WELL 030405Z FG69GU18ET 20.1300S 67.4900W +-17M OLD 4 H"},
		{"old, 40", old, false, 40, "WELL 030405Z FG69GU 20.130S 67.490W OLD"},
		{"old, 13", old, false, 13, "WELL FG69 OLD"},
		{"poor, 120", poor, false, 120, "I AM HERE AND WELL 2031-02-03 0405Z FG69 20.130S 67.490W +-4.4KM POOR 78.9 KM +-4.4 KM 118T+-4 TO BASE"},
		{"poor, 40", poor, false, 40, "WELL 030405Z FG69 20.130S 67.490W POOR"},
		{"unproved, 40", unproved, false, 40, "WELL 030405Z? FG69GU18 20.1300S 67.4900W"},
		{"unproved, and no time", unproved, false, 13, "WELL FG69GU18"},
		{"a simulation, 40", sim, false, 40, "EXERCISE WELL 030405Z FG69GU18ET"},
		{"a simulation, 13", sim, false, 13, "EXERCISE FG69"},
		{"distress, all", nil, true, 120, "20.13000S 67.49000W +-10M 2031-02-03 0405Z FG69GU18ET 78.9 KM 118T TO BASE"},
		{"distress, 40", nil, true, 40, "20.13000S 67.49000W +-10M 030405Z"},
		{"distress, 26", nil, true, 26, "20.1300S 67.4900W 030405Z"},
		{"distress, 20", nil, true, 20, "20.1300S 67.4900W"},
		{"distress, 16", nil, true, 16, "20.130S 67.490W"}, {"distress, 13: two decimals may be minutes", nil, true, 13, ""},
		{"distress, old, 40", old, true, 40, "20.13000S 67.49000W +-10M OLD 030405Z"},
	} {
		t.Run(row.name, func(t *testing.T) {
			r := make1(t, camp(row.change), row.distress, base(t))
			got, err := r.Fit(row.n)
			if got != row.want || (err != nil) != (row.want == "") {
				t.Errorf("got  %q (%d), %v\nwant %q", got, len(got), err, row.want)
			}
		})
	}
}

// Whatever the station and the length: it fits, is in sendable letters, says what is
// wrong, and what it says of the place is true within what it says.
func TestFitLaw(t *testing.T) {
	coords := regexp.MustCompile(`(\d+(?:\.\d+)?)([NS]) (\d+(?:\.\d+)?)([EW])`)
	within := regexp.MustCompile(`\+-([0-9.]+)(K?)M`)
	rapid.Check(t, func(t *rapid.T) {
		lat, lon := rapid.Float64Range(-90, 90).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")
		pt, err := grid.Degrees(lat, lon)
		if err != nil {
			t.Fatal(err)
		}
		bound := math.Exp(rapid.Float64Range(-1, 12).Draw(t, "ln bound"))
		s := camp(func(s *status.Snapshot) {
			s.Live = rapid.Bool().Draw(t, "live")
			q := s.Position
			q.LatDeg, q.LonDeg, q.BoundM = k(lat), k(lon), k(bound)
			q.Locator = pt.Cell(grid.LocatorLength(bound*0.8, lat)).Locator()
			q.AgeS, q.Moving = k(rapid.Float64Range(0, 1e6).Draw(t, "age")), rapid.Bool().Draw(t, "moving")
		})
		r, err := Make(s, later(s, 1), rapid.Bool().Draw(t, "distress"), &Place{Name: rapid.String().Draw(t, "name"), End: grid.EndOf(pt, 0)})
		if err != nil {
			t.Fatal(err)
		}
		n := rapid.IntRange(0, 120).Draw(t, "n")
		text, err := r.Fit(n)
		if err != nil {
			if n > 45 {
				t.Fatal(err)
			}
			return
		}
		if len(text) > n || !regexp.MustCompile(`^[A-Z0-9 +./?-]+$`).MatchString(text) {
			t.Fatalf("%q does not fit into %d or cannot be sent", text, n)
		}
		for mark, is := range map[string]bool{"EXERCISE": r.Exercise, "OLD": r.Old, "POOR": r.Poor, "MOVING": r.Moving} {
			if is && !strings.Contains(text, mark) {
				t.Fatalf("%q does not say %s", text, mark)
			}
		}
		m := coords.FindStringSubmatch(text)
		if m == nil {
			return
		}
		for _, number := range []string{m[1], m[3]} {
			if _, frac, _ := strings.Cut(number, "."); len(frac) < 3 {
				t.Fatalf("%q may be read as minutes", text)
			}
		}
		said := func(digits, letter, minus string) float64 {
			v, err := strconv.ParseFloat(digits, 64)
			if err != nil {
				t.Fatal(err)
			}
			if letter == minus {
				return -v
			}
			return v
		}
		there, err := grid.Degrees(said(m[1], m[2], "S"), said(m[3], m[4], "W"))
		if err != nil {
			t.Fatalf("%q: %v", text, err)
		}
		miss := grid.Inverse(pt, there).DistanceM
		if w := within.FindStringSubmatch(text); w != nil {
			v := said(w[1], "", "-")
			if w[2] == "K" {
				v *= 1000
			}
			if miss+bound > v*(1+1e-9) {
				t.Fatalf("%q: %.1f m off, ± %.1f m", text, miss, bound)
			}
		}
	})
}

func TestRefusals(t *testing.T) {
	s := camp(nil)
	if r, err := Make(s, later(s, 600), false, nil); err == nil {
		t.Errorf("a stale status: %+v", r)
	}
	r, err := Make(s, later(s, 600), true, nil)
	if err != nil || !r.Old || r.TimeProved || math.Abs(r.AgeS.V-600.4) > 0.01 {
		t.Errorf("a stale status in distress: %+v, %v", r, err)
	}
	now := later(s, 10)
	now.BootID = "another"
	if r, err := Make(s, now, true, nil); err != nil || !r.Old || r.AgeS.OK || !strings.Contains(r.Text(), "OLD: age not known") {
		t.Errorf("of before the last start, in distress: %+v, %v", r, err)
	}
	for _, change := range []func(*status.Snapshot){
		func(s *status.Snapshot) { s.Position = nil },
		place(func(p *status.Position) { p.LatDeg = status.Float{} }),
		place(func(p *status.Position) { p.LatDeg = k(91) }),
	} {
		s := camp(change)
		if r, err := Make(s, later(s, 1), true, nil); err == nil {
			t.Errorf("without a place: %+v", r)
		}
	}
	hostile := camp(place(func(p *status.Position) { p.Locator = "\x1b[2J" }))
	if r := make1(t, hostile, false, nil); r.Locator != "" {
		t.Errorf("%+v", r)
	}
}

// The time is that of the judgement, also when the clock was stepped since.
func TestTimeIsCorrected(t *testing.T) {
	s := camp(func(s *status.Snapshot) { s.Clock.ErrorS = k(3600) })
	now := later(s, 1.5)
	now.System = now.System.Add(-time.Hour)
	r, err := Make(s, now, false, nil)
	if err != nil {
		t.Fatal(err)
	}
	want := time.Date(2031, 2, 3, 3, 5, 7, 520e6, time.UTC)
	if d := r.UTC.V.Time().Sub(want); d.Abs() > time.Millisecond {
		t.Errorf("%v, want %v", r.UTC.V.Time(), want)
	}
}

func TestTemplates(t *testing.T) {
	r := make1(t, camp(nil), false, base(t))
	for _, row := range []struct {
		text string
		n    int
		want string
	}{
		{"{{.Locator}} at {{.Clock}} UTC on {{.Date}}", 0, "FG69gu18et at 04:05:07 UTC on 2031-02-03"},
		{"{{.Degrees}}, {{.Quality}}; {{.Way}}", 0, "20.13000 S 67.49000 W, within 10 m, fix of now; 78.9 km, 118 degrees true, to Base"},
		{"{{.AltM}} {{.BoundM}} {{if .AgeS.OK}}{{printf \"%.0f\" .AgeS.V}} s{{end}} {{.To.Name}} {{.Satellites}}", 0, "3656 8.3 2 s Base 11"},
		{"{{.Exercise}} {{.Distress}} {{.TimeProved}} {{.TimeBoundS}} {{.Old}} {{.Poor}} {{.Kept}} {{.Moving}} {{.Problems}}", 0, "false false true 0.05 false false false false []"},
		{"{{.LatDeg}} {{.LonDeg}}", 16, "-20.13 -67.49"},
		{"{{.LatDeg}} {{.LonDeg}}", 12, ""},
		{"{{.Nothing}}", 0, ""},
		{"{{.Locator", 0, ""},
		{"{{range 10}}{{range 100}}{{range 100}}0123456789{{end}}{{end}}{{end}}", 0, ""},
	} {
		got, err := r.Template(row.text, row.n)
		if got != row.want || (err != nil) != (row.want == "") {
			t.Errorf("%s: %.80q, %v; want %q", row.text, got, err, row.want)
		}
	}
	r.Exercise = true
	if got, err := r.Template("{{.Locator}}", 0); err != nil || got != "EXERCISE FG69gu18et" {
		t.Errorf("of a simulation: %q, %v", got, err)
	}
	alone := make1(t, camp(place(func(p *status.Position) { p.AltM = status.Float{} })), false, nil)
	if got, err := alone.Template("[{{.Way}}] {{.AltM}}", 0); err != nil || got != "[] not known" {
		t.Errorf("%q, %v", got, err)
	}
}

func Example() {
	s := camp(nil)
	r, err := Make(s, later(s, 1), false, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	text, err := r.Fit(40)
	fmt.Println(text, err)
	// Output: WELL 030405Z FG69GU18 20.1300S 67.4900W <nil>
}

// While a model holds, the way has its heading by compass, with its give or take.
func TestWayByCompass(t *testing.T) {
	s := camp(func(s *status.Snapshot) {
		s.Written.SystemUTC = status.At(timescale.UTCOf(time.Date(2026, 11, 28, 4, 5, 6, 0, time.UTC)))
	})
	r := make1(t, s, false, base(t))
	if want := "78.9 km, 118 degrees true, to Base. By compass 127, give or take 2.\n"; !strings.HasSuffix(r.Text(), want) {
		t.Errorf("%s, want %s", r.Text(), want)
	}
	r = make1(t, camp(nil), false, base(t)) // in 2031
	if want := "to Base. By compass not known after 2029.\n"; r.To.CompassDeg.OK || !strings.HasSuffix(r.Text(), want) {
		t.Errorf("%s, want %s", r.Text(), want)
	}
	s.Position.LatDeg, s.Position.LonDeg = status.Known(85.8), status.Known(139)
	if r = make1(t, s, false, base(t)); r.To.CompassDeg.OK || !strings.Contains(r.Text(), "By compass not known, the field is too weak here") {
		t.Errorf("%s", r.Text())
	}
}
