package page

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"noonmark/status"
)

func sampled(at float64, err, guard status.Float, refs ...string) *status.Snapshot {
	s := &status.Snapshot{Written: status.Written{BoottimeS: at}, Clock: status.Clock{Basis: status.BasisGNSS, ErrorS: err, GuardS: guard}}
	for _, trust := range refs {
		s.References = append(s.References, status.Reference{Name: "r", Trust: trust})
	}
	return s
}

// TestThinningHidesNoExcursion: however long the record, its drawing reaches as far
// out as the worst second did, and what was not known is a hole.
func TestThinningHidesNoExcursion(t *testing.T) {
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 1))
		var h history
		n := 1000 + rng.IntN(20000)
		worst, hole := rng.IntN(n), rng.IntN(n)
		from := max(0, n-pastLimitS) // older ones are not drawn
		for i := range n {
			e := status.Known(0.01 * rng.NormFloat64())
			if i == worst {
				e = status.Known(-3)
			}
			if i == hole {
				e = status.Float{}
			}
			h.add(sampled(float64(i), e, status.Known(0.1)))
		}
		lo, holes := math.Inf(1), 0
		points := h.last(pastLimitS, 240)
		if len(points) > 241 {
			t.Errorf("%d points", len(points))
		}
		for _, p := range points {
			if math.IsNaN(float64(p.low)) {
				holes++
			} else {
				lo = min(lo, float64(p.low))
			}
		}
		same := worst/historyStepS/((min(n, pastLimitS)/historyStepS+239)/240) == hole/historyStepS/((min(n, pastLimitS)/historyStepS+239)/240)
		if worst >= from+historyStepS && !same && math.Abs(lo+3.1) > 1e-6 {
			t.Errorf("seed %d: the worst edge drawn is %v, it was -3.1", seed, lo)
		}
		if hole >= from+historyStepS && holes == 0 {
			t.Errorf("seed %d: a second without knowledge is drawn as known", seed)
		}
	}
}

func TestPictureSaysWhatItShows(t *testing.T) {
	var h history
	for i := range 7200 {
		e, trust := status.Known(0.2), status.Trusted
		if i >= 3600 {
			e, trust = status.Known(0.9), status.Faulty
		}
		h.add(sampled(float64(i), e, status.Known(0.15), trust, status.Trusted))
	}
	m := &status.Mode{Mode: "FT8", ToleranceS: 1, Verdict: status.Borderline, GoodForS: status.Known(5)}
	c := chart{points: h.last(pastLimitS, 240), mode: m, clock: status.Clock{ErrorS: status.Known(0.9), GuardS: status.Known(0.15)},
		ahead: []Ahead{{0, 0.9, 0.15}, {7200, 0.9, 0.3}}}
	p := draw(c, 900)
	for _, want := range []string{"between +0.05 s and +1.05 s", "It was good for 50 % of that time."} {
		if !strings.Contains(p.Text, want) {
			t.Errorf("no %q in %q", want, p.Text)
		}
	}
	if p.GoodUntilText != "" {
		t.Error("a promise without a verdict of within")
	}
	if len(p.Bands) != 2 || strings.Contains(p.Bands[0].Class, "doubt") || !strings.Contains(p.Bands[1].Class, "doubt") {
		t.Errorf("bands %+v", p.Bands)
	}
	if p.Zero <= p.TolTop || p.Zero >= p.TolBottom || !strings.HasPrefix(p.Ahead, "M") {
		t.Errorf("%+v", p)
	}
}

// TestAxisShowsTenthsAndTens: a tenth of a second and eighteen are apart and on the
// scale; what is beyond it is marked at its edge.
func TestAxisShowsTenthsAndTens(t *testing.T) {
	if a, b, c := heightOf(0.1), heightOf(1), heightOf(18); !(a > 0.1 && b > a+0.2 && c > b+0.2 && c < 1) {
		t.Errorf("a tenth at %.2f, one at %.2f, eighteen at %.2f", a, b, c)
	}
	var h history
	for i := range 3600 {
		h.add(sampled(float64(i), status.Known(float64(i)), status.Known(0.15)))
	}
	p := draw(chart{points: h.last(pastLimitS, 240), mode: &status.Mode{Mode: "FT8", ToleranceS: 1}}, 340)
	if p.Off == "" {
		t.Error("an hour off the scale is not marked")
	}
}

// TestOneScaleOfTime: an hour of the past is as wide as an hour of the forecast.
func TestOneScaleOfTime(t *testing.T) {
	var h history
	for i := range 8 * 3600 {
		h.add(sampled(float64(i), status.Known(0), status.Known(0.15)))
	}
	p := draw(chart{points: h.last(pastLimitS, 240), mode: &status.Mode{Mode: "FT8", ToleranceS: 1}}, 900)
	past, ahead := p.Now-p.Left, p.Right-p.Now
	if r := past / ahead; math.Abs(r-2) > 0.01 {
		t.Errorf("the past is %.2f times as wide as what is ahead; it is twice as long", r)
	}
}

// TestRingIsOfTheWholePeriod: the arcs meet, and the hand is as wide as the guard.
func TestRingIsOfTheWholePeriod(t *testing.T) {
	m := &status.Mode{Mode: "FT8", PeriodS: 15}
	r := ringOf(m, Period{0.5, 12.64}, status.Known(0.142))
	if r == nil || !strings.Contains(r.Text, "period 15 s, transmission from 0.5 s to 13.14 s, then the gap.") {
		t.Fatalf("%+v", r)
	}
	end := func(path string) string { f := strings.Fields(path); return strings.Join(f[len(f)-2:], " ") }
	begin := func(path string) string { return strings.TrimPrefix(strings.Split(path, "A")[0], "M") }
	if end(r.Transmission) != begin(r.Gap) {
		t.Errorf("the transmission ends at %s, the gap begins at %s", end(r.Transmission), begin(r.Gap))
	}
	if ringOf(m, Period{0.5, 12.64}, status.Float{}).Hand != "" || ringOf(m, Period{0.5, 12.64}, status.Known(8)).Hand != "" {
		t.Error("a hand without knowledge")
	}
	if ringOf(m, Period{}, status.Known(0.1)) != nil || ringOf(nil, Period{0, 1}, status.Known(0.1)) != nil {
		t.Error("a ring of no period")
	}
	if g := ringOf(&status.Mode{Mode: "MSK144", PeriodS: 15}, Period{0, 15}, status.Known(0.1)); g.Gap != "" {
		t.Error("a gap where there is none")
	}
}
