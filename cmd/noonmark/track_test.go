package main

import (
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/places"
	"noonmark/gnss"
	"noonmark/grid"
)

// trackJSON runs the command on a recording and reads its JSON.
func trackJSON(t *testing.T, recording string, length int) (r places.TrackReport, code int, err error) {
	t.Helper()
	var out strings.Builder
	code, err = places.Track(cli.Grid{Track: "-", Length: length, Output: cli.Output{JSON: true}}, iotest.HalfReader(strings.NewReader(recording)), &out, io.Discard)
	if out.Len() > 0 {
		if jerr := json.Unmarshal([]byte(out.String()), &r); jerr != nil {
			t.Fatal(jerr)
		}
	}
	return r, code, err
}

const gpxHead = `<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="hand" xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="1" lon="1"/><trk><trkseg>`

// A track over the salt flat: 3 fixes along a parallel, crossing 67.5° W (FG69fu to
// FG69gu and back), by hand; the middle of three equal parts is the border.
func TestTrackByHand(t *testing.T) {
	gpx := gpxHead +
		`<trkpt lat="-20.1300" lon="-67.5001"><ele>3656</ele><time>2031-02-03T04:05:06Z</time></trkpt>` +
		`<trkpt lat="-20.1300" lon="-67.4998"><time>2031-02-03T05:05:09+01:00</time></trkpt>` +
		`<trkpt lat="-20.1300" lon="-67.5001"><time> 2031-02-03T04:05:12 </time></trkpt></trkseg></trk></gpx>`
	sentence := func(second int, lon string) string {
		body := fmt.Sprintf("GPRMC,0405%02d.00,A,2007.8000,S,%s,W,0.0,0.0,030231,,,A", second, lon)
		sum := byte(0)
		for _, c := range []byte(body) {
			sum ^= c
		}
		return fmt.Sprintf("$%s*%02X\r\n", body, sum)
	}
	nmea := sentence(6, "06730.0060") + sentence(9, "06729.9880") + sentence(12, "06730.0060")
	want := []places.VisitReport{
		{Locator: "FG69fu", EntryUTC: "2031-02-03T04:05:06Z", EntryBy: "fix", ExitUTC: "2031-02-03T04:05:07Z", ExitBy: "border", Fixes: 1},
		{Locator: "FG69gu", EntryUTC: "2031-02-03T04:05:07Z", EntryBy: "border", ExitUTC: "2031-02-03T04:05:11Z", ExitBy: "border", Fixes: 1},
		{Locator: "FG69fu", EntryUTC: "2031-02-03T04:05:11Z", EntryBy: "border", ExitUTC: "2031-02-03T04:05:12Z", ExitBy: "fix", Fixes: 1},
	}
	for name, recording := range map[string]string{"GPX": gpx, "NMEA": nmea, "GPX behind a mark": "\ufeff\n" + gpx} {
		r, code, err := trackJSON(t, recording, 0)
		if code != exit.OK || err != nil || len(r.Visits) != len(want) || r.Fixes != 3 {
			t.Fatalf("%s: exit %d, %v, %+v", name, code, err, r)
		}
		for i, v := range r.Visits {
			v.EntryUTC, v.ExitUTC = toSecond(t, v.EntryUTC), toSecond(t, v.ExitUTC)
			if v != want[i] {
				t.Errorf("%s: visit %d %+v, want %+v", name, i, v, want[i])
			}
		}
	}
}

// toSecond rounds a time, for a crossing is found to the millisecond only.
func toSecond(t *testing.T, text string) string {
	t.Helper()
	at, err := time.Parse(time.RFC3339Nano, text)
	if r := at.Round(time.Second); err != nil || at.Sub(r).Abs() > 2*time.Millisecond {
		t.Errorf("%s, %v: not near a whole second", text, err)
	}
	return at.Round(time.Second).Format(time.RFC3339)
}

// What is damaged is counted and costs no more than itself. A library for GPX was
// tried here: it lost the whole track for one bad point, and read a missing
// latitude as 0.
func TestTrackDamagedGPX(t *testing.T) {
	ok := func(second int) string {
		return fmt.Sprintf(`<trkpt lat="-20.13" lon="-67.49"><time>2031-02-03T04:05:%02dZ</time></trkpt>`, second)
	}
	body := ok(6) + `<trkpt lon="2"><time>2031-02-03T04:05:07Z</time></trkpt>` + `<trkpt lat="x" lon="2"><time>2031-02-03T04:05:07Z</time></trkpt>` +
		`<trkpt lat="91" lon="2"><time>2031-02-03T04:05:07Z</time></trkpt>` + `<trkpt lat="NaN" lon="2"><time>2031-02-03T04:05:07Z</time></trkpt>` +
		`<trkpt lat="1" lon="2"/>` + `<trkpt lat="1" lon="2"><time>noon</time></trkpt>` + `<trkpt lat="1" lon="2"><time>0001-01-01T00:00:00Z</time></trkpt>` +
		ok(6) + ok(5) + `<trkpt lat="-20.13" lon="-67.49"><ele>--</ele><time>2031-02-03T04:05:08Z</time></trkpt>`
	r, code, err := trackJSON(t, gpxHead+body+"</trkseg></trk></gpx>", 6)
	want := map[string]int{"without a position": 2, "no place on Earth": 2, "without a time": 1, "without a readable time": 2, "not later than the one before": 2}
	if code != exit.OK || err != nil || r.Fixes != 2 || fmt.Sprint(r.Skipped) != fmt.Sprint(want) || len(r.Visits) != 1 {
		t.Errorf("exit %d, %v, %+v, want %v", code, err, r, want)
	}
	r, code, err = trackJSON(t, gpxHead+ok(6)+ok(7)+`<trkpt lat="1" lon="2"><ti`, 6)
	if code != exit.No || err == nil || !strings.Contains(err.Error(), "ends in the middle") || r.Fixes != 2 {
		t.Errorf("cut short: exit %d, %v, %+v", code, err, r)
	}
	r, code, err = trackJSON(t, gpxHead+ok(6)+"</trkseg><trkseg>"+strings.ReplaceAll(ok(7), "67.49", "67.51")+"</trkseg></trk></gpx>", 6)
	if code != exit.OK || len(r.Visits) != 2 || r.Visits[0].ExitBy != "gap" || r.Visits[1].EntryBy != "gap" {
		t.Errorf("two segments: exit %d, %v, %+v", code, err, r)
	}
	for _, empty := range []string{"", "hello", "<html></html>", gpxHead, "$GPGLL,,,,,,V,N*64\r\n"} {
		if _, code, err := trackJSON(t, empty, 6); code != exit.No || err == nil || !strings.Contains(err.Error(), "no fix") {
			t.Errorf("%q: exit %d, %v", empty, code, err)
		}
	}
}

// Law, on every capture: each fix that the receiver calls valid lies in the cell
// that the visit of its time names, every cell begins where the one before ended,
// and all fixes are accounted for. The counts are those of the independent reader
// (the side files), through the decoder's own tests.
func TestTrackOfCaptures(t *testing.T) {
	captures, _ := filepath.Glob("../../testdata/nmea/*/*.expect.json")
	used := 0
	for _, side := range captures {
		name := strings.TrimSuffix(side, ".expect.json")
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		r, code, _ := trackJSON(t, string(b), 8)
		if code != exit.OK {
			continue // no dated fix in it
		}
		used++
		visits := r.Visits
		skipped := 0
		for _, n := range r.Skipped {
			skipped += n
		}
		fixes, epochs := 0, 0
		d := gnss.NewDecoder(gnss.Config{})
		d.Feed(b, 1)
		d.Flush(1e12)
		for e, ok := d.Next(); ok; e, ok = d.Next() {
			epochs++
			utc, dated := e.UTC()
			if !dated || !e.Valid || !e.HasPosition || e.Repeated {
				continue
			}
			p, _ := grid.Degrees(e.Lat.Deg(), e.Lon.Deg())
			at := utc.Time().Format("2006-01-02T15:04:05.000")
			if !slices.ContainsFunc(visits, func(v places.VisitReport) bool {
				return v.Locator == p.Locator(8) && pad(v.EntryUTC) <= at && at <= pad(v.ExitUTC)
			}) && r.Skipped["not later than the one before"] == 0 {
				t.Errorf("%s: %s at %s is in no visit", name, p.Locator(8), at)
			}
		}
		for _, v := range visits {
			fixes += v.Fixes
		}
		if fixes != r.Fixes || fixes+skipped != epochs {
			t.Errorf("%s: %d fixes in visits, %d read, %d skipped, of %d epochs", name, fixes, r.Fixes, skipped, epochs)
		}
	}
	if used < 20 {
		t.Errorf("%d captures used", used)
	}
}

// pad writes a time with its milliseconds, also where they are zero.
func pad(utc string) string {
	at, _ := time.Parse(time.RFC3339Nano, utc)
	return at.Format("2006-01-02T15:04:05.000")
}

// The forms say the same.
func TestTrackForms(t *testing.T) {
	capture := "../../testdata/nmea/rrainey-dropkick/TESTLOG-01.TXT"
	_, jsonOut, _ := runArgs("grid", "--track", capture, "--length", "8", "--json")
	var r places.TrackReport
	if err := json.Unmarshal([]byte(jsonOut), &r); err != nil || len(r.Visits) < 5 {
		t.Fatalf("%v: %s", err, jsonOut)
	}
	code, csvOut, told := runArgs("grid", "--track", capture, "--length", "8", "--csv")
	rows, err := csv.NewReader(strings.NewReader(csvOut)).ReadAll()
	if code != exit.OK || err != nil || len(rows) != len(r.Visits)+1 || !strings.Contains(told, "Read: 1132 fixes.") {
		t.Fatalf("%v, %d rows, told %q", err, len(rows), told)
	}
	_, table, _ := runArgs("grid", "--track", capture, "--length", "8")
	for i, v := range r.Visits {
		if want := []string{v.Locator, v.EntryUTC, v.EntryBy, v.ExitUTC, v.ExitBy, "0", fmt.Sprint(v.Fixes)}; !slices.Equal(rows[i+1], want) {
			t.Errorf("CSV %q, want %q", rows[i+1], want)
		}
		entry, _ := time.Parse(time.RFC3339Nano, v.EntryUTC)
		exit, _ := time.Parse(time.RFC3339Nano, v.ExitUTC)
		const second = "2006-01-02 15:04:05"
		if !strings.Contains(table, entry.Round(time.Second).Format(second)+"  "+exit.Round(time.Second).Format(second)+"  "+v.Locator) {
			t.Errorf("not in the table: %+v", v)
		}
	}
	_, gpxOut, _ := runArgs("grid", "--track", capture, "--length", "8", "--gpx")
	var again places.GPXFile
	if err := xml.Unmarshal([]byte(gpxOut), &again); err != nil || len(again.Tracks) != len(r.Visits) || again.Version != "1.1" {
		t.Fatalf("GPX: %v, %d tracks, want %d", err, len(again.Tracks), len(r.Visits))
	}
	for i, one := range again.Tracks {
		if v := r.Visits[i]; one.Name != v.Locator || len(one.Points) != 2 || one.Points[0].Time != v.EntryUTC || one.Points[1].Time != v.ExitUTC {
			t.Errorf("GPX: %+v, want %+v", one, v)
		}
	}
	if _, code, err := trackJSON(t, gpxOut, 8); code != exit.OK || err != nil {
		t.Errorf("our own GPX: exit %d, %v", code, err)
	}
}
