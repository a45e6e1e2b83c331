package web

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// The page says what a compass and the sun do at the place; after the model's last day it says
// so, and shows no heading by compass; without a time it says nothing of either.
func TestCompassAndSunOfThePage(t *testing.T) {
	camp := status.Position{LatDeg: status.Known(-20.13), LonDeg: status.Known(-67.49), EdgeM: status.Known(80)}
	for _, c := range []struct {
		at         time.Time
		day, table string
	}{
		{time.Date(2026, 11, 28, 10, 0, 0, 0, time.UTC), "[{Compass points 9.4° west of true north, ± 1.0°; iron nearby adds to it; it shows 009° for true 000°} {Sun up; ", "NE 045°, by compass 054°"},
		{time.Date(2031, 2, 3, 4, 5, 6, 0, time.UTC), "[{Compass not known on 2031-02-03: the World Magnetic Model built in holds from 2020 to the end of 2029} {Sun down; ", "NE 045°"},
		{time.Time{}, "[]", "NE 045°"},
	} {
		at := timescale.UTC(0)
		if !c.at.IsZero() {
			at = timescale.UTCOf(c.at)
		}
		forms, day, table := placeRows(camp, at)
		if len(forms) != 6 || !strings.HasPrefix(fmt.Sprint(day), c.day) || table.Rows[1].Heading != c.table {
			t.Errorf("%v: %v, %v, %q", c.at, forms, day, table.Rows[1].Heading)
		}
	}
}
