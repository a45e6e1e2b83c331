package standing

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/grid"

	"pgregory.net/rapid"
)

func at(p grid.Point, sigma float64) Estimate {
	return Estimate{Point: p, SigmaNorthM: sigma, SigmaEastM: sigma}
}

func seconds(n int) timescale.Local { return timescale.Local(n) * timescale.Local(time.Second) }

// border is a point on the western border of a 10-character square at camp.
func border() grid.Point {
	c := camp.Cell(10)
	return point((c.South+c.North)/2, c.West)
}

func TestSquareKeepsItsNameAtABorder(t *testing.T) {
	for _, row := range []struct {
		name  string
		eastM float64 // of the border, from the second instant on
		sigma float64
		moves bool
		after int // seconds until the square changes, −1 = never
	}{
		{"a little outside, it stays there", -1, 2, false, 60},
		{"clearly outside", -6, 2, false, 0},
		{"clearly outside for a poor fix only", -2, 3.8, false, 60},
		{"a little outside, moving", -1, 2, true, 0},
		{"a little inside", 1, 2, false, -1},
	} {
		t.Run(row.name, func(t *testing.T) {
			var s Square
			was := s.Choose(at(shifted(border(), 0, 2), row.sigma), seconds(0), 10)
			e := at(shifted(border(), 0, row.eastM), row.sigma)
			e.Moving = row.moves
			changed := -1
			for i := range 200 {
				if c := s.Choose(e, seconds(i+1), 10); c != was && changed < 0 {
					changed = i
				}
			}
			if changed != row.after {
				t.Errorf("changed after %d s, want %d", changed, row.after)
			}
		})
	}
}

// A place that wanders about a border must not change its square at each breath.
func TestNoFlickerAtABorder(t *testing.T) {
	var p Place
	var s Square
	sky := newSky(11, 2, 30*time.Minute, 0, 0.5)
	changes, bare := 0, 0
	var was, bareWas grid.Cell
	for range 4 * 3600 {
		f := sky.fix(time.Second)
		n, e := offset(camp, f.Point)
		f.Point = shifted(border(), n, e)
		p.Take(f)
		est, _ := p.Now()
		c := s.Choose(est, f.At, 10)
		if out := Outside(c, est.Point); out > Slack(est) {
			t.Fatalf("the place lies %.1f m outside of its square", out)
		}
		if c != was {
			changes++
		}
		if b := f.Point.Cell(10); b != bareWas {
			bare++
			bareWas = b
		}
		was = c
	}
	t.Logf("four hours on a border: the square changed %d times; that of each fix %d times", changes-1, bare-1)
	if changes > 6 || bare < 1000 {
		t.Errorf("%d changes; %d without", changes, bare)
	}
}

func TestLengthFollowsTheFix(t *testing.T) {
	var s Square
	length := func(sigma float64, second, most int) int {
		return len(s.Choose(at(camp, sigma), seconds(second), most).Locator())
	}
	for _, row := range []struct {
		name               string
		sigma              float64
		second, most, want int
	}{
		{"at first as long as the fix supports", 2, 0, 10, 10},
		{"shorter at once", 10, 1, 10, 8},
		{"longer only when it has lasted", 2, 2, 10, 8},
		{"interrupted, it counts again", 10, 30, 10, 8},
		{"", 2, 31, 10, 8},
		{"", 2, 90, 10, 8},
		{"it has lasted", 2, 91, 10, 10},
		{"never more than wanted", 2, 92, 6, 6},
		{"an odd wish is the even one below", 2, 93, 5, 4},
		{"nothing can be said", 2e6, 94, 10, 0},
		{"and again at once", 2, 95, 10, 10},
	} {
		if got := length(row.sigma, row.second, row.most); got != row.want {
			t.Errorf("%s: at %d s %d characters, want %d", row.name, row.second, got, row.want)
		}
	}
}

// Whatever comes, the locator is never longer than the place supports, and the place
// is in the square or nearly so.
func TestSquareLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s Square
		p := point(rapid.Float64Range(-90, 90).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon"))
		now := 0
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			now += rapid.IntRange(0, 50).Draw(t, "s")
			step := rapid.Float64Range(-30, 30)
			p = shifted(p, step.Draw(t, "n"), step.Draw(t, "e"))
			e := at(p, rapid.Float64Range(0.1, 60).Draw(t, "sigma"))
			e.Moving = rapid.Bool().Draw(t, "moving")
			lat, _ := p.LatLon()
			c := s.Choose(e, seconds(now), 10)
			if most := grid.LocatorLength(Radius95(e.SigmaNorthM, e.SigmaEastM), lat); len(c.Locator()) > most {
				t.Fatalf("%s has more than %d characters", c.Locator(), most)
			}
			if c == (grid.Cell{}) {
				continue
			}
			if out := Outside(c, p); out > Slack(e) {
				t.Fatalf("%s lies %v m outside of %s", p.Decimal(), out, c.Locator())
			}
		}
	})
}

// Edge against the geodesic to the square's sides, also across the antimeridian.
func TestEdge(t *testing.T) {
	for _, p := range []grid.Point{camp, point(52.2, 0.1453), point(-17.00001, 179.99999), point(-17, -179.99999), point(84.99, 10)} {
		for n := 6; n <= 10; n += 2 {
			c := p.Cell(n)
			lat, lon := p.LatLon()
			want := math.Inf(1)
			for _, q := range []grid.Point{point(c.South, lon), point(c.North, lon), point(lat, c.West), point(lat, c.East)} {
				want = min(want, grid.Inverse(p, q).DistanceM)
			}
			if got := Edge(c, p); math.Abs(got-want) > 0.02*want+0.01 {
				t.Errorf("%s in %s: %.2f m, by the geodesic %.2f m", p.Decimal(), c.Locator(), got, want)
			}
			if Outside(c, p) != 0 {
				t.Errorf("%s is outside of %s", p.Decimal(), c.Locator())
			}
			west := shifted(point(lat, c.West), 0, -50)
			if got := Outside(c, west); math.Abs(got-50) > 1 {
				t.Errorf("50 m west of %s: %.1f m", c.Locator(), got)
			}
			if Edge(c, west) != 0 {
				t.Errorf("an edge outside of %s", c.Locator())
			}
		}
	}
}
