package station

import (
	"path/filepath"
	"testing"
	"time"

	"noonmark/grid"
	"noonmark/grid/standing"
)

// A receiver on a car that stood for two minutes before it set out, at a place that is
// known to centimetres: the post-processed reference of the same drive (a survey-grade
// receiver with an inertial unit). Source: google/gps-measurement-tools, Apache-2.0, see
// testdata/nmea/SOURCES.csv. The two aerials are up to a metre or two apart on the roof.
// The averaged place must hold the truth in its 99 % bound, and know that it stands.
func TestAveragedPlaceAtASurveyedPoint(t *testing.T) {
	const folder = "../../../testdata/nmea/google-gps-measurement-tools"
	truth := captured(t, filepath.Join(folder, "MTV.Local1.SPAN.20200206-181434.gga"))[60].Point
	fixes := captured(t, filepath.Join(folder, "MTV.Local1.reference-receiver.20200206-181434.nmea"))
	var p standing.Place
	seen, held, worst, moving := 0, 0, 0.0, 0
	for _, f := range fixes {
		if f.At.Sub(fixes[0].At) > 115*time.Second {
			break // it sets out at 02:16:18, the capture begins at 02:14:17
		}
		p.Take(f)
		e, ok := p.Now()
		if !ok {
			continue
		}
		seen++
		if e.Moving {
			moving++
		}
		miss := grid.Inverse(truth, e.Point).DistanceM
		worst = max(worst, miss)
		if miss <= standing.Radius99(e.SigmaNorthM, e.SigmaEastM) {
			held++
		}
	}
	e, _ := p.Now()
	t.Logf("%d fixes: the 99 %% bound (%.1f m at the end) holds the surveyed place in %d; worst miss %.2f m, at the end %.2f m", seen,
		standing.Radius99(e.SigmaNorthM, e.SigmaEastM), held, worst, grid.Inverse(truth, e.Point).DistanceM)
	if seen < 60 || held*100 < seen*98 || moving > 0 {
		t.Errorf("held in %d of %d, moving in %d", held, seen, moving)
	}
}
