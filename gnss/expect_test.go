package gnss

import (
	"encoding/json"
	"math"
	"os"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// expectation is the side file of a capture: what pynmea2 (a reader that is not
// ours) and a counting script make of it. See ../testdata/nmea/README.md.
type expectation struct {
	Epochs      int     `json:"epochs"`
	Valid       int     `json:"epochs_valid"`
	First       string  `json:"first_utc"` // "" for null
	Last        string  `json:"last_utc"`
	Lat         float64 `json:"mean_lat_deg"` // 0 for null
	Lon         float64 `json:"mean_lon_deg"`
	SentencesOK int     `json:"sentences_ok"`
	ChecksumBad int     `json:"checksum_bad"`
}

// differs lists where our framing counts otherwise than the script's, and why.
var differs = map[string]struct {
	sentences, bad int
	why            string
}{
	"rrainey-tempo-insights/sample-flight_lines34000-50195.txt": {1847, 0, "$PTH and $PST: the script asks for four letters"},
	"semuconsulting/pygpsdata-nmea4.log":                        {-1, 0, "a proprietary sentence of 423 bytes"},
	"semuconsulting/pygpsdata-MIXED2.log":                       {-1, 0, "a proprietary sentence of 295 bytes"},
	"semuconsulting/pygpsdata-rtcm3.log":                        {0, 1, "'$' and '*' in a binary frame"},
}

func TestCapturesAgainstSideFiles(t *testing.T) {
	for name, b := range captures(t) {
		t.Run(name, func(t *testing.T) {
			text, err := os.ReadFile("../testdata/nmea/" + name + ".expect.json")
			if err != nil {
				t.Fatal(err)
			}
			var want expectation
			if err := json.Unmarshal(text, &want); err != nil {
				t.Fatal(err)
			}
			want.SentencesOK += differs[name].sentences
			want.ChecksumBad += differs[name].bad
			es, d := decode(Config{}, string(b))
			c := d.Counts()
			got := expectation{
				Epochs: int(c.Epochs), Valid: int(c.Valid), SentencesOK: int(c.Sentences - c.Unchecked),
				ChecksumBad: int(c.Skipped["checksum"]),
			}
			got.First, got.Last, got.Lat, got.Lon = summary(es)
			if got.Epochs != want.Epochs || got.Valid != want.Valid || got.SentencesOK != want.SentencesOK || got.ChecksumBad != want.ChecksumBad {
				t.Errorf("counts: got %+v, want %+v", got, want)
			}
			if got.First != want.First || got.Last != want.Last {
				t.Errorf("got from %q to %q, want %q to %q", got.First, got.Last, want.First, want.Last)
			}
			// The side file takes an instant's position from its first sentence, we
			// from the one with the most digits; one file was put together by hand
			// from two talkers in different places.
			near := math.Abs(got.Lat-want.Lat) < 1e-5 && math.Abs(got.Lon-want.Lon) < 1e-5
			if !near && name != "semuconsulting/pygpsdata-nmea4.log" {
				t.Errorf("mean position %v, %v; want %v, %v", got.Lat, got.Lon, want.Lat, want.Lon)
			}
		})
	}
}

// summary gives the first and last new instant and the mean position of the valid
// epochs. An epoch without a date takes that of the dated one before it, on the
// nearest day, as the script does.
func summary(es []Epoch) (first, last string, lat, lon float64) {
	var before timescale.UTC
	n := 0.0
	for _, e := range es {
		if e.Repeated || !e.HasTime {
			continue
		}
		u, ok := e.UTC()
		if !ok && before != 0 {
			day := before - before%timescale.UTC(24*time.Hour)
			u, ok = day.Add(e.TimeOfDay), true
			for u.Sub(before) > 12*time.Hour {
				u = u.Add(-24 * time.Hour)
			}
			for before.Sub(u) > 12*time.Hour {
				u = u.Add(24 * time.Hour)
			}
		}
		if ok {
			before, last = u, u.Time().Format(time.RFC3339Nano)
			if first == "" {
				first = last
			}
		}
		if e.Valid && e.HasPosition {
			lat, lon, n = lat+e.Lat.Deg(), lon+e.Lon.Deg(), n+1
		}
	}
	if n > 0 {
		lat, lon = lat/n, lon/n
	}
	return first, last, lat, lon
}
