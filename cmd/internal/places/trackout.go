package places

import (
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/grid/track"
)

type TrackReport struct {
	Visits  []VisitReport  `json:"visits"`
	Fixes   int            `json:"fixes"`
	Skipped map[string]int `json:"skipped"`
}

// VisitReport is one stay in a locator's cell; entries and exits are by a border,
// by the first or last fix, or by a gap in the track.
type VisitReport struct {
	Locator  string  `json:"locator"`
	EntryUTC string  `json:"entry_utc"`
	EntryBy  string  `json:"entry_by"`
	ExitUTC  string  `json:"exit_utc"`
	ExitBy   string  `json:"exit_by"`
	UnseenS  float64 `json:"unseen_s"`
	Fixes    int     `json:"fixes"`
}

func visitOf(v track.Visit) VisitReport {
	return VisitReport{v.Cell.Locator(), utcText(v.Entry.At), v.Entry.By, utcText(v.Exit.At), v.Exit.By, v.Unseen.Seconds(), v.Fixes}
}

// utcText is to the millisecond, where it is not a whole second.
func utcText(u timescale.UTC) string {
	return u.Time().Round(time.Millisecond).Format("2006-01-02T15:04:05.999Z07:00")
}

// print writes the visits in the form asked for. What was skipped is told too: in
// JSON as a member, beside CSV and GPX on standard error.
func (t *trackReader) print(c cli.Grid, out, errOut io.Writer) error {
	visits := t.walk.Visits()
	switch {
	case c.JSON:
		r := TrackReport{Fixes: t.fixes, Skipped: t.skipped}
		for _, v := range visits {
			r.Visits = append(r.Visits, visitOf(v))
		}
		return json.NewEncoder(out).Encode(r)
	case c.CSV:
		fmt.Fprintln(errOut, t.summary())
		return writeTrackCSV(out, visits)
	case c.GPX:
		fmt.Fprintln(errOut, t.summary())
		return writeTrackGPX(out, visits)
	}
	return t.table(out, visits)
}

func (t *trackReader) table(out io.Writer, visits []track.Visit) error {
	const form, second = "%-19s  %-19s  %-10s  %-6s  %-6s  %s\n", "2006-01-02 15:04:05"
	var b strings.Builder
	fmt.Fprintf(&b, form, "Entry, UTC", "Exit, UTC", "Locator", "Begins", "Ends", "Unseen")
	for _, v := range visits {
		unseen := ""
		if v.Unseen > 0 {
			unseen = v.Unseen.Round(time.Second).String()
		}
		b.WriteString(strings.TrimRight(fmt.Sprintf(form, v.Entry.At.Time().Round(time.Second).Format(second), v.Exit.At.Time().Round(time.Second).Format(second),
			v.Cell.Locator(), v.Entry.By, v.Exit.By, unseen), " \n") + "\n")
	}
	_, err := io.WriteString(out, b.String()+t.summary()+"\n")
	return err
}

func (t *trackReader) summary() string {
	s := fmt.Sprintf("Read: %d fixes.", t.fixes)
	if len(t.skipped) > 0 {
		s += " Skipped:"
	}
	for i, why := range slices.Sorted(maps.Keys(t.skipped)) {
		s += fmt.Sprintf("%s %d %s", map[bool]string{true: ";"}[i > 0], t.skipped[why], why)
	}
	if len(t.skipped) > 0 {
		s += "."
	}
	return s
}

func writeTrackCSV(out io.Writer, visits []track.Visit) error {
	w := csv.NewWriter(out)
	w.UseCRLF = true // RFC 4180
	rows := [][]string{{"locator", "entry_utc", "entry_by", "exit_utc", "exit_by", "unseen_s", "fixes"}}
	for _, v := range visits {
		r := visitOf(v)
		rows = append(rows, []string{r.Locator, r.EntryUTC, r.EntryBy, r.ExitUTC, r.ExitBy, strconv.FormatFloat(r.UnseenS, 'f', -1, 64), strconv.Itoa(r.Fixes)})
	}
	return w.WriteAll(rows)
}

// GPX 1.1: each visit is a track named after its locator, whose points are entry
// and exit, so that both times stand where every reader of GPX looks for times.
type GPXFile struct {
	XMLName xml.Name   `xml:"http://www.topografix.com/GPX/1/1 gpx"`
	Version string     `xml:"version,attr"`
	Creator string     `xml:"creator,attr"`
	Tracks  []gpxTrack `xml:"trk"`
}

type gpxTrack struct {
	Name   string     `xml:"name"`
	Desc   string     `xml:"desc"`
	Points []gpxPoint `xml:"trkseg>trkpt"`
}

type gpxPoint struct {
	Lat  string `xml:"lat,attr"`
	Lon  string `xml:"lon,attr"`
	Time string `xml:"time"`
}

func writeTrackGPX(out io.Writer, visits []track.Visit) error {
	file := GPXFile{Version: "1.1", Creator: "noonmark"}
	for _, v := range visits {
		r := visitOf(v)
		one := gpxTrack{Name: r.Locator, Desc: "begins by " + r.EntryBy + ", ends by " + r.ExitBy}
		for _, p := range []track.Passage{v.Entry, v.Exit} {
			lat, lon, _ := strings.Cut(p.Point.Decimal(), ", ")
			one.Points = append(one.Points, gpxPoint{lat, lon, utcText(p.At)})
		}
		file.Tracks = append(file.Tracks, one)
	}
	e := xml.NewEncoder(out)
	e.Indent("", " ")
	if _, err := io.WriteString(out, xml.Header); err != nil {
		return err
	}
	if err := e.Encode(file); err != nil {
		return err
	}
	_, err := io.WriteString(out, "\n")
	return err
}
