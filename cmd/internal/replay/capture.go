package replay

import (
	"bytes"
	"strconv"
	"strings"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss"
)

// reading is what a capture says, whatever the time it is played in.
type reading struct {
	first, last, before timescale.UTC
	dated               bool
	lat, lon            float64
	places              int
}

// read counts a capture in one go.
func read(path string, b []byte) fileReport {
	d := gnss.NewDecoder(gnss.Config{})
	d.Feed(b, 1)
	d.Flush(timescale.Local(time.Minute))
	var sum reading
	for {
		e, ok := d.Next()
		if !ok {
			break
		}
		sum.add(&e)
	}
	c := d.Counts()
	r := fileReport{Path: path, Bytes: len(b), Lines: c.Lines, Sentences: c.Sentences, Skipped: c.Skipped, Epochs: c.Epochs, EpochsValid: c.Valid}
	if sum.dated {
		first, last := sum.first.Time().Format(time.RFC3339Nano), sum.last.Time().Format(time.RFC3339Nano)
		r.FirstUTC, r.LastUTC = &first, &last
	}
	if sum.places > 0 {
		lat, lon := sum.lat/float64(sum.places), sum.lon/float64(sum.places)
		r.MeanLatDeg, r.MeanLonDeg = &lat, &lon
	}
	return r
}

// EpochUTC is the instant of an epoch; without a date of its own it is of the day
// that puts it nearest to the instant before, if there was one.
func EpochUTC(e *gnss.Epoch, before timescale.UTC) (timescale.UTC, bool) {
	utc, ok := e.UTC()
	if !ok && e.HasTime && before != 0 {
		day := 24 * time.Hour
		n := (before.Sub(timescale.UTC(e.TimeOfDay)) + day/2) / day
		utc, ok = timescale.UTC(e.TimeOfDay).Add(n*day), true
	}
	return utc, ok
}

// add takes one epoch.
func (r *reading) add(e *gnss.Epoch) {
	if e.Repeated || !e.HasTime {
		return
	}
	utc, ok := EpochUTC(e, r.before)
	if ok {
		if !r.dated {
			r.first, r.dated = utc, true
		}
		r.last, r.before = utc, utc
	}
	if e.Valid && e.HasPosition {
		r.lat += e.Lat.Deg()
		r.lon += e.Lon.Deg()
		r.places++
	}
}

// hostStamped tells whether most lines of a capture begin with a host's stamp.
func hostStamped(b []byte) bool {
	lines, stamped := 0, 0
	for line := range bytes.Lines(b) {
		if lines++; lines > 100 {
			break
		}
		if _, ok := hostStamp(line); ok {
			stamped++
		}
	}
	return lines > 0 && stamped*2 > lines
}

// hostStamp reads the stamp that a logging host put before a sentence: RFC 3339,
// or whole seconds of POSIX time and a tab.
func hostStamp(line []byte) (timescale.UTC, bool) {
	head, _, ok := bytes.Cut(line, []byte("$"))
	if !ok {
		head, _, ok = bytes.Cut(line, []byte("!"))
	}
	text := strings.TrimSpace(string(head))
	if !ok || len(text) < 10 {
		return 0, false
	}
	if t, err := time.Parse(time.RFC3339Nano, text); err == nil {
		return timescale.UTCOf(t), true
	}
	if n, err := strconv.ParseInt(text, 10, 64); err == nil && n > 1e8 && n < 1e10 {
		return timescale.UTC(n * timescale.Second), true
	}
	return 0, false
}

// namedTime is the time of day that a line's sentence names, to let virtual time
// pass; whether it is right is for the decoder to say.
func namedTime(line []byte) (time.Duration, bool) {
	i := bytes.IndexByte(line, '$')
	if i < 0 || len(line) < i+7 {
		return 0, false
	}
	fields := bytes.Split(line[i+1:], []byte(","))
	if len(fields[0]) != 5 {
		return 0, false
	}
	n := 1
	switch string(fields[0][2:]) {
	case "RMC", "GGA", "GNS", "ZDA":
	case "GLL":
		n = 5
	default:
		return 0, false
	}
	if len(fields) <= n || len(fields[n]) < 6 {
		return 0, false
	}
	text := string(fields[n])
	h, err1 := strconv.Atoi(text[:2])
	m, err2 := strconv.Atoi(text[2:4])
	s, err3 := strconv.ParseFloat(text[4:], 64)
	if err1 != nil || err2 != nil || err3 != nil || h < 0 || h > 23 || m < 0 || m > 59 || !(s >= 0 && s < 61) {
		return 0, false
	}
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s*1e9), true
}
