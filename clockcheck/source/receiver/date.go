package receiver

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// dated turns the receiver's date and time of day into a claim about UTC; said tells
// whether the date was its own. One before the floor is moved by whole 1024 weeks, if
// that lands within ten years of the floor and the date is no firmware's default.
func (r *Receiver) dated(e *clockcheck.GNSS, floor timescale.UTC, day Day) (utc timescale.UTC, said, ok bool) {
	if e.Year == 0 {
		return r.undated(e, day)
	}
	utc = timescale.UTCOf(time.Date(e.Year, time.Month(e.Month), e.Day, 0, 0, 0, 0, time.UTC).Add(e.TimeOfDay))
	r.Weeks = 0
	if floor == 0 || utc >= floor.Add(-floorSlack) {
		return utc, true, true
	}
	n := 1 + (floor.Sub(utc)-floorSlack-1)/week1024
	repaired := utc.Add(n * week1024)
	if defaultDate(e.Year, e.Month, e.Day) || repaired > floor.Add(repairMost) {
		r.ails(EarlyDate)
		return 0, true, false
	}
	r.Weeks = int(n) * 1024
	return repaired, true, true
}

// defaultDate tells the dates that receivers show before they know better (seen in
// captures and makers' texts): GPS week 0, and four firmware dates.
func defaultDate(y, m, d int) bool {
	switch y*10000 + m*100 + d {
	case 20061028, 20120701, 20130901, 19960101:
		return true
	}
	return y == 1980 && m == 1 && d <= 12
}

// undated supplies the day from others: that on which the time of day is nearest.
func (r *Receiver) undated(e *clockcheck.GNSS, day Day) (utc timescale.UTC, said, ok bool) {
	now, ok := day(e.At)
	if !ok {
		r.ails(NoDate)
		return 0, false, false
	}
	const d = timescale.UTC(24 * 3600 * timescale.Second)
	utc = now/d*d + timescale.UTC(e.TimeOfDay)
	switch off := utc - now; {
	case off > d/2:
		utc -= d
	case off < -d/2:
		utc += d
	}
	return utc, false, true
}
