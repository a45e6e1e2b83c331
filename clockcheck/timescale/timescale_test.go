package timescale

import (
	"testing"
	"time"
)

// POSIX: 1972-07-01 00:00:00 UTC is 912 days of 86,400 s after the epoch, the leap
// second before it not counted.
func TestUTC(t *testing.T) {
	want := time.Date(1972, 7, 1, 0, 0, 0, 5, time.UTC)
	u := UTCOf(want.In(time.FixedZone("camp", -4*3600)))
	if int64(u) != 912*86400*Second+5 {
		t.Errorf("%d", u)
	}
	if got := u.Time(); !got.Equal(want) || got.Location() != time.UTC {
		t.Errorf("%v", got)
	}
	if v := u.Add(-time.Minute); v.Sub(u) != -time.Minute || u.Sub(v) != time.Minute {
		t.Errorf("%v, %v", v.Sub(u), u.Sub(v))
	}
}

func TestLocal(t *testing.T) {
	l := Local(7)
	if m := l.Add(time.Second); m != 7+Local(Second) || m.Sub(l) != time.Second {
		t.Errorf("%v", m)
	}
}
