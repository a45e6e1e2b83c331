package terms

import (
	"math"
	"testing"
)

func TestAccept(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, row := range []struct {
		err, guard, tolerance float64
		want                  Verdict
	}{
		{nan, 0.1, 1, Borderline},
		{0, nan, 1, Borderline},
		{0, 0.1, nan, Borderline},
		{0, inf, 1, Borderline},
		{inf, 0.1, 1, Outside},
		{0, 0.1, 1, Within},
		{0.75, 0.25, 1, Within}, // nothing is left, nothing is missing
		{-0.75, 0.25, 1, Within},
		{0.75, 0.2500001, 1, Borderline},
		{1.25, 0.25, 1, Borderline}, // it may be just right
		{-1.2500001, 0.25, 1, Outside},
	} {
		if got, margin := Accept(row.err, row.guard, row.tolerance); got != row.want || (margin >= 0) != (got == Within) {
			t.Errorf("error %v ± %v of %v: %s, margin %v; want %s", row.err, row.guard, row.tolerance, got, margin, row.want)
		}
	}
}
