package gnss

import (
	"bytes"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/adrianmo/go-nmea"

	"noonmark/clockcheck/timescale"
)

// reading is what go-nmea makes of a capture, line by line: the reference here.
type reading struct {
	instants map[time.Duration]bool         // times of day named by RMC, GGA, GNS, GLL; by ZDA if by none of them
	places   map[time.Duration][][2]float64 // of GGA; a time may be named twice
	types    map[string]uint64
}

func readWithLibrary(b []byte) reading {
	r := reading{map[time.Duration]bool{}, map[time.Duration][][2]float64{}, map[string]uint64{}}
	zda := map[time.Duration]bool{}
	for _, piece := range bytes.Split(b, []byte("$"))[1:] {
		line := "$" + string(piece)
		if i := strings.IndexByte(line, '*'); i >= 0 && len(line) >= i+3 {
			line = line[:i+3]
		}
		if panics(line) {
			continue
		}
		m, err := nmea.Parse(line)
		if err != nil {
			continue
		}
		r.types[m.DataType()]++
		var t nmea.Time
		switch m := m.(type) {
		case nmea.RMC:
			t = m.Time
		case nmea.GGA:
			t = m.Time
			if t.Valid && m.FixQuality != "0" && m.Fields[1] != "" {
				r.places[ofDay(t)] = append(r.places[ofDay(t)], [2]float64{m.Latitude, m.Longitude})
			}
		case nmea.GNS:
			t = m.Time
		case nmea.GLL:
			t = m.Time
		case nmea.ZDA:
			if m.Time.Valid {
				zda[ofDay(m.Time)] = true
			}
		}
		if t.Valid {
			r.instants[ofDay(t)] = true
		}
	}
	if len(r.instants) == 0 {
		r.instants = zda
	}
	return r
}

func ofDay(t nmea.Time) time.Duration {
	return time.Duration(t.Hour*3600+t.Minute*60+t.Second)*time.Second + time.Duration(t.Millisecond)*time.Millisecond
}

// No capture is longer than a day, so that a time of day is an instant. The one
// without checksums has nothing the library takes; it is counted by hand.
func TestCapturesAgainstTheLibrary(t *testing.T) {
	for name, b := range captures(t) {
		t.Run(name, func(t *testing.T) {
			ref := readWithLibrary(b)
			es, d := decode(Config{}, string(b))
			c := d.Counts()
			want := len(ref.instants)
			if strings.Contains(name, "gp02") {
				want = bytes.Count(b, []byte("$GPZDA"))
			}
			if c.Epochs != uint64(want) {
				t.Errorf("got %d epochs, want %d; %+v", c.Epochs, want, c)
			}
			if c.Bytes != uint64(len(b)) {
				t.Errorf("read %d bytes of %d", c.Bytes, len(b))
			}
			for _, typ := range []string{"RMC", "GGA", "GLL", "GSA", "GNS"} {
				if want := ref.types[typ]; c.ByType[typ] < want {
					t.Errorf("got %d %s, the library %d", c.ByType[typ], typ, want)
				}
			}
			placed := 0
			for _, e := range es {
				p, ok := ref.places[e.TimeOfDay]
				if !ok || !e.HasPosition || e.Types&TypeGGA == 0 || e.Repeated {
					continue
				}
				placed++
				// 1e-7 minute is 1.7e-9 degree; one receiver prints eight decimals.
				if !slices.ContainsFunc(p, func(q [2]float64) bool {
					return math.Abs(e.Lat.Deg()-q[0]) < 2e-9 && math.Abs(e.Lon.Deg()-q[1]) < 2e-9
				}) {
					t.Errorf("%v: at %v, %v; the library says %v", e.TimeOfDay, e.Lat.Deg(), e.Lon.Deg(), p)
				}
			}
			if placed < len(ref.places)*9/10 {
				t.Errorf("compared %d positions of %d", placed, len(ref.places))
			}
		})
	}
}

// The ship's log with its logger's stamps: the median of arrival minus time of
// GGA must come out as it was measured on the same file by other means (PCOD
// 1.016 s, s330 0.125 s, seap 0.117 s late; the logger stamps whole lines).
func TestArrivalAgainstTheLogger(t *testing.T) {
	for name, want := range map[string]time.Duration{
		"openrvdas-nbp1406/NBP1406_PCOD-2014-08-01.txt": 1016 * ms,
		"openrvdas-nbp1406/NBP1406_s330-2014-08-01.txt": 125 * ms,
		"openrvdas-nbp1406/NBP1406_seap-2014-08-01.txt": 117 * ms,
	} {
		d := NewDecoder(Config{})
		b, ok := captures(t)[name]
		if !ok {
			t.Fatalf("no capture %s", name)
		}
		for _, l := range bytes.SplitAfter(b, []byte("\n")) {
			stamp, _, _ := bytes.Cut(l, []byte(" "))
			at, err := time.Parse(time.RFC3339Nano, string(stamp))
			if err != nil {
				continue
			}
			d.Feed(l, timescale.Local(at.UnixNano()))
		}
		var late []time.Duration
		for _, e := range drain(d) {
			if e.Types&TypeGGA == 0 {
				continue
			}
			day := time.Duration(e.TimeArrival) % (24 * time.Hour)
			diff := day - e.TimeOfDay
			if diff < -12*time.Hour {
				diff += 24 * time.Hour
			}
			late = append(late, diff)
		}
		got := median(late)
		if (got-want).Abs() > 2*ms || len(late) < 600 {
			t.Errorf("%s: median %v of %d, want %v", name, got, len(late), want)
		}
	}
}

func median(v []time.Duration) time.Duration {
	if len(v) == 0 {
		return -1
	}
	s := slices.Sorted(slices.Values(v))
	return s[len(s)/2]
}
