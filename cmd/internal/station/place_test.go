package station

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss"
	"noonmark/grid"
	"noonmark/grid/standing"
	"noonmark/status"
)

// captured gives the valid fixes of a capture, each once, arriving when it says.
func captured(t *testing.T, path string) (fixes []standing.Fix) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	d := gnss.NewDecoder(gnss.Config{AcceptUnchecked: true})
	d.Feed(b, 1)
	d.Flush(timescale.Local(time.Minute))
	var now, before time.Duration
	for {
		e, ok := d.Next()
		if !ok {
			return fixes
		}
		if !e.Valid || !e.HasPosition || e.Repeated {
			continue
		}
		if step := (e.TimeOfDay - before + 24*time.Hour) % (24 * time.Hour); len(fixes) > 0 && step < 12*time.Hour {
			now += step
		}
		before = e.TimeOfDay
		pt, err := grid.Minutes(int64(e.Lat), int64(e.Lon))
		if err != nil {
			t.Fatal(err)
		}
		f := standing.Fix{At: timescale.Local(now), Point: pt, SpeedMS: float64(e.SpeedMS)}
		f.SigmaNorthM, f.SigmaEastM = sigmas(&e)
		fixes = append(fixes, f)
	}
}

// stood gives the fixes after the last movement.
func stood(fixes []standing.Fix) []standing.Fix {
	var p standing.Place
	from := 0
	for i, f := range fixes {
		p.Take(f)
		if e, _ := p.Now(); e.Moving {
			from = i + 1
		}
	}
	return fixes[from:]
}

func mean(t *testing.T, fixes []standing.Fix) grid.Point {
	t.Helper()
	var lat, lon float64
	for _, f := range fixes {
		a, b := f.Point.LatLon()
		lat, lon = lat+a, lon+b
	}
	n := float64(len(fixes))
	pt, err := grid.Degrees(lat/n, lon/n)
	if err != nil {
		t.Fatal(err)
	}
	return pt
}

// In ten-minute windows of the long captures of standing receivers the 95 % bound
// that averaging states must hold the mean of the whole log in 95 of 100, and never
// be larger than a single fix's.
func TestStandingReceivers(t *testing.T) {
	const window = 10 * time.Minute
	for _, name := range []string{"phone_245_2026-02-06_2319_lines1-6000.nmea", "phone_116_2026-02-07_1041.nmea"} {
		t.Run(name, func(t *testing.T) {
			fixes := stood(captured(t, filepath.Join("../../../testdata/nmea/philipsargent-nmea-gps", name)))
			truth := mean(t, fixes)
			last := fixes[len(fixes)-1].At
			held, windows, worst, bound, single := 0, 0, 0.0, 0.0, 0.0
			for start := fixes[0].At; start.Add(window) <= last; start = start.Add(time.Minute) {
				var p standing.Place
				for _, f := range fixes {
					if f.At < start || f.At > start.Add(window) {
						continue
					}
					p.Take(f)
					single = standing.Radius95(f.SigmaNorthM, f.SigmaEastM)
				}
				e, ok := p.Now()
				if !ok {
					continue
				}
				windows++
				miss := grid.Inverse(truth, e.Point).DistanceM
				bound = standing.Radius95(e.SigmaNorthM, e.SigmaEastM)
				worst = max(worst, miss)
				if miss <= bound {
					held++
				}
			}
			t.Logf("%d fixes over %v: the 95 %% bound holds the mean in %d of %d ten-minute windows (%.1f %%); it is %.1f m (a single fix's: %.1f m), the worst miss %.1f m",
				len(fixes), last.Sub(fixes[0].At), held, windows, 100*float64(held)/float64(windows), bound, single, worst)
			if windows < 15 || held*100 < windows*95 {
				t.Errorf("held in %d of %d windows", held, windows)
			}
			if bound > single || bound < 0.9*single {
				t.Errorf("after ten minutes the bound is %.2f m, a single fix's %.2f m", bound, single)
			}
		})
	}
}

// In no capture, moving or not, is the bound ever larger than the last fix's.
func TestBoundIsNeverLargerThanASingleFix(t *testing.T) {
	paths, err := filepath.Glob("../../../testdata/nmea/*/*")
	if err != nil {
		t.Fatal(err)
	}
	captures, all := 0, 0
	for _, path := range paths {
		if strings.HasSuffix(path, ".json") {
			continue
		}
		var p standing.Place
		for _, f := range captured(t, path) {
			p.Take(f)
			e, _ := p.Now()
			if e.At != f.At {
				continue // not believed
			}
			ratio := standing.Radius95(e.SigmaNorthM, e.SigmaEastM) / standing.Radius95(f.SigmaNorthM, f.SigmaEastM)
			if ratio > 1+1e-9 {
				t.Errorf("%s at %v: %.4f of a single fix's bound", path, f.At.Sub(0), ratio)
			}
			all++
		}
		captures++
	}
	t.Logf("%d captures, %d fixes: the bound is never larger than a single fix's", captures, all)
	if captures < 40 || all < 20_000 {
		t.Errorf("only %d captures, %d fixes", captures, all)
	}
}

func TestErrorsOfAFix(t *testing.T) {
	for _, row := range []struct {
		name        string
		e           gnss.Epoch
		north, east float64
	}{
		{"nothing said", gnss.Epoch{}, 10, 10},
		{"HDOP", gnss.Epoch{HDOP: 2}, 2 * 3 / math.Sqrt2, 2 * 3 / math.Sqrt2},
		{"the receiver's own figures", gnss.Epoch{HDOP: 2, HasSigma: true, SigmaLatM: 4, SigmaLonM: 3}, 4, 3},
		{"own figures of zero are none", gnss.Epoch{HDOP: 2, HasSigma: true}, 2 * 3 / math.Sqrt2, 2 * 3 / math.Sqrt2},
		{"too good to be believed", gnss.Epoch{HasSigma: true, SigmaLatM: 0.01, SigmaLonM: 0.02}, 0.3, 0.3},
	} {
		if n, e := sigmas(&row.e); math.Abs(n-row.north) > 1e-6 || math.Abs(e-row.east) > 1e-6 {
			t.Errorf("%s: %v, %v, want %v, %v", row.name, n, e, row.north, row.east)
		}
	}
}

func TestPlaceIsAveragedAndMoves(t *testing.T) {
	s := newSim(t, 10)
	s.seconds(100, rmc, gga)
	p := *s.snap.Position
	if p.Moving || p.Kept || p.AveragedS.V < 90 || !(p.BoundM.V < 0.9*3.035*3) || p.Fix != "unknown" {
		t.Errorf("standing: %+v", p)
	}
	s.seconds(3, strings.Replace(rmc, "W,0.0", "W,9.0", 1), gga)
	if p := s.snap.Position; !p.Moving || p.AveragedS.V != 0 {
		t.Errorf("at 9 knots: %+v", p)
	}
	if p := s.snap.Position; p.Past() != "" {
		t.Errorf("%q", p.Past())
	}
}

// A stuck receiver says an old fix again and again: it grows old. In suspend the
// local timescale stands still, and yet the fix grows old.
func TestAgeIsThatOfTheFix(t *testing.T) {
	s := newSim(t, 10)
	s.seconds(5, rmc, gga)
	at := s.utc().Time()
	stuck := []string{strings.NewReplacer("TIME", at.Format("150405"), "DATE", at.Format("020106")).Replace(rmc)}
	s.seconds(30, stuck...)
	if p := s.snap.Position; p.AgeS.V < 29 || p.Fix != "none" || p.Past() != "fix 31 s old" {
		t.Errorf("stuck: %+v, %s", p, p.Past())
	}
	s.seconds(5, rmc, gga)
	if p := s.snap.Position; p.AgeS.V > 2 {
		t.Errorf("alive again: %+v", p)
	}
	s.asleep = 3600
	s.tick(950 * time.Millisecond)
	if p := s.snap.Position; math.Abs(p.AgeS.V-3600.85) > 0.2 || p.Fix != "none" {
		t.Errorf("after an hour of sleep: %+v", p)
	}
}

func TestLastPlaceOverAPowerOff(t *testing.T) {
	day := newSim(t, 10)
	if day.LastPlace() != nil {
		t.Error("a place was kept that nobody saw")
	}
	day.seconds(20, rmc, gga)
	day.server(0, 1)
	day.seconds(10)
	kept := day.LastPlace()
	if kept == nil || kept.Locator != "FG69gu18et" || math.Abs(kept.LatDeg+20.13) > 1e-6 || kept.UTC == 0 {
		t.Fatalf("kept %+v", kept)
	}
	if age := day.utc().Add(900 * time.Millisecond).Sub(kept.UTC).Seconds(); math.Abs(age-10.8) > 0.3 {
		t.Errorf("its last fix is dated %.1f s back", age)
	}
	undated := *kept
	undated.UTC = 0
	future := *kept
	future.UTC = future.UTC.Add(48 * time.Hour)
	for _, row := range []struct {
		name  string
		kept  *LastPlace
		clock bool
		past  string
	}{
		{"the clock is known", kept, true, "from before noonmark started, 5 h 0 min ago"},
		{"the clock is not known", kept, false, "from before noonmark started, nobody knows how long ago"},
		{"nor was it then", &undated, true, "from before noonmark started, nobody knows how long ago"},
		{"one of the two clocks is wrong", &future, true, "from before noonmark started, nobody knows how long ago"},
	} {
		t.Run(row.name, func(t *testing.T) {
			s := newSim(t, 10)
			s.local = s.local.Add(kept.UTC.Add(5 * time.Hour).Sub(s.utc()))
			s.Remember(row.kept)
			if row.clock {
				s.server(0, 1)
			}
			s.tick(0)
			p := s.snap.Position
			if p == nil || !p.Kept || p.Fix != "none" || p.Locator != "FG69gu18et" || p.BoundM.V != kept.BoundM || p.Satellites.OK || p.AveragedS.OK {
				t.Fatalf("%+v", p)
			}
			if strings.Replace(p.Past(), "5 h ago", "5 h 0 min ago", 1) != row.past {
				t.Errorf("%q, want %q", p.Past(), row.past)
			}
			if again := s.LastPlace(); again != row.kept {
				t.Errorf("without a fix %+v became %+v", row.kept, again)
			}
			s.seconds(5, rmc, gga)
			if p := s.snap.Position; p.Kept || p.AgeS.V > 2 {
				t.Errorf("after a fix: %+v", p)
			}
		})
	}
}

// What the operator wants coarse is coarse in everything, also in what was kept
// finer before, and it is kept no finer than published.
func TestCoarseInEverything(t *testing.T) {
	fine := &LastPlace{LatDeg: -20.1301, LonDeg: -67.4901, AltM: status.Known(3656), BoundM: 8, Locator: "FG69gu18et"}
	s := newSim(t, 4)
	s.Remember(fine)
	s.tick(0)
	check := func(when string, p *status.Position) {
		t.Helper()
		if p == nil || p.Locator != "FG69" || p.LatDeg.V != -20.5 || p.LonDeg.V != -67 || p.AltM.OK || p.EdgeM.OK || p.BoundM.V < 100e3 {
			t.Errorf("%s: %+v", when, p)
		}
	}
	check("kept finer", s.snap.Position)
	s.seconds(20, rmc, gga)
	check("averaged", s.snap.Position)
	kept := s.LastPlace()
	if kept.Locator != "FG69" || kept.LatDeg != -20.5 || kept.LonDeg != -67 || kept.AltM.OK {
		t.Errorf("kept: %+v", kept)
	}
	again := newSim(t, 4)
	again.Remember(kept)
	again.tick(0)
	check("kept coarse", again.snap.Position)
	if got, want := again.snap.Position.BoundM.V, kept.BoundM; got != want {
		t.Errorf("its bound grew from %v to %v", want, got)
	}
}

// What a damaged or foreign file holds is no place.
func TestNoPlaceOutOfNonsense(t *testing.T) {
	for _, k := range []LastPlace{
		{LatDeg: 91, LonDeg: 1, BoundM: 8, Locator: "FG69"},
		{LatDeg: 1, LonDeg: 1e9, BoundM: 8, Locator: "FG69"},
		{LatDeg: 1, LonDeg: 1, BoundM: -8, Locator: "FG69"},
		{LatDeg: 1, LonDeg: 1, BoundM: 8, Locator: "?"},
	} {
		s := newSim(t, 6)
		s.Remember(&k)
		s.tick(0)
		if s.snap.Position != nil {
			t.Errorf("%+v became %+v", k, s.snap.Position)
		}
	}
}
