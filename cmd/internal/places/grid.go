package places

import (
	"encoding/json"
	"fmt"
	"io"
	"time"

	"noonmark/cmd/internal/around"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/terminal"
	"noonmark/cmd/internal/wrap"
	"noonmark/grid"
	"noonmark/status"
	"noonmark/status/spoken"
)

// PlaceReport is a place in every form. It is a GeoJSON FeatureCollection (RFC
// 7946) of the place and its cell; what GeoJSON has no word for are members beside
// these, as section 6.1 there allows.
type PlaceReport struct {
	Type     string            `json:"type"`
	Features []feature         `json:"features"`
	Locator  string            `json:"locator"`
	LatDeg   float64           `json:"lat_deg"`
	LonDeg   float64           `json:"lon_deg"`
	Cell     cellReport        `json:"cell"`
	UTM      *string           `json:"utm"` // null where UTM is not defined
	MGRS     *string           `json:"mgrs"`
	Geo      string            `json:"geo"`
	Note     string            `json:"note,omitempty"`
	Aloud    string            `json:"aloud"`  // the locator
	Border   *borderReport     `json:"border"` // null where the place lies beside its square
	Around   map[string]string `json:"neighbours"`
	Compass  *around.Compass   `json:"compass"` // null where no model holds
	Sun      around.Sun        `json:"sun"`
	Fix      *fixReport        `json:"fix,omitempty"` // of the present place
}

// fixReport is what the present place rests on, as published.
type fixReport struct {
	AgeS   status.Float `json:"age_s"`
	BoundM status.Float `json:"bound_m"`
	Kept   bool         `json:"kept"` // from before noonmark started
	Moving bool         `json:"moving"`
	Live   bool         `json:"live"` // false: of a simulated station, not of this one
}

type cellReport struct {
	South   float64 `json:"south_deg"`
	West    float64 `json:"west_deg"`
	North   float64 `json:"north_deg"`
	East    float64 `json:"east_deg"`
	HeightM float64 `json:"height_m"`
	WidthM  float64 `json:"width_m"`
}

// feature is a GeoJSON Feature.
type feature struct {
	Type       string         `json:"type"`
	Properties map[string]any `json:"properties"`
	Geometry   geometry       `json:"geometry"`
}

// geometry is a GeoJSON Point or Polygon; positions are longitude, latitude.
type geometry struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"`
}

// Grid answers for the present place or for the one named.
func Grid(c cli.Grid, out io.Writer) (int, error) {
	var p Somewhere
	var err error
	if c.Place() == "" {
		p, err = Here(c.RunDir)
	} else {
		p, err = ReadPlace(c.Place())
	}
	if err != nil {
		return exit.No, err
	}
	if c.Length > p.length {
		p.note = joinNotes(p.note, fmt.Sprintf("This place supports a locator of %d characters, no longer one.", p.length))
	} else if c.Length != 0 {
		p.length = c.Length
	}
	at, err := instant(c.At, time.Now())
	if err != nil {
		return exit.Misuse, err
	}
	r := reportOf(p)
	r.Aloud, r.Border, r.Around = spoken.Locator(r.Locator), borderOf(&p), neighboursOf(p.cell())
	r.Compass, r.Sun = around.CompassAt(r.LatDeg, r.LonDeg, at), around.SunAt(r.LatDeg, r.LonDeg, at)
	if c.JSON {
		return exit.OK, json.NewEncoder(out).Encode(r)
	}
	return exit.OK, printPlace(out, r, p, c)
}

func joinNotes(a, b string) string {
	if a == "" {
		return b
	}
	return a + " " + b
}

func reportOf(p Somewhere) PlaceReport {
	cell := p.cell()
	h, w := cell.Size()
	r := PlaceReport{Type: "FeatureCollection", Locator: cell.Locator(), Geo: p.Point.Geo(p.uncertaintyM), Note: p.note,
		Cell: cellReport{cell.South, cell.West, cell.North, cell.East, h, w}}
	if q := p.now; q != nil {
		r.Fix = &fixReport{q.AgeS, q.BoundM, q.Kept, q.Moving, !p.simulated}
	}
	r.LatDeg, r.LonDeg = p.Point.LatLon()
	if text, ok := p.Point.UTM(); ok {
		r.UTM = &text
	}
	if text, ok := p.Point.MGRS(); ok {
		r.MGRS = &text
	}
	r.Features = []feature{
		{"Feature", map[string]any{"what": "place", "utm": r.UTM, "mgrs": r.MGRS, "geo": r.Geo},
			geometry{"Point", [2]float64{r.LonDeg, r.LatDeg}}},
		{"Feature", map[string]any{"what": "cell", "locator": r.Locator}, geometry{"Polygon", [][][2]float64{ring(cell)}}},
	}
	return r
}

// surroundings words what lies around the place and the day there.
func surroundings(r PlaceReport, p Somewhere, c cli.Grid) (s string) {
	line := func(name, value string) {
		s += fmt.Sprintf("%-8s ", name) + wrap.Text("         ", value)[len("         "):]
	}
	line("Aloud", r.Aloud)
	if b := r.Border; b != nil {
		line("Border", fmt.Sprintf("%s to the %s (%03.0f°); beyond it %s", inMiles(metres(b.DistanceM), b.DistanceM, c.Miles), b.Side, whole(b.HeadingDeg), b.Beyond))
	}
	if c.Neighbours {
		s += neighbourMap(p.cell())
	}
	if r.Compass != nil {
		line("Compass", r.Compass.Text())
	} else {
		line("Compass", around.NoCompass(r.Sun.UTC))
	}
	line("Sun", r.Sun.Text())
	return s
}

// ring is the cell's border, anticlockwise and closed (RFC 7946, section 3.1.6). No
// cell crosses the antimeridian: one that meets it ends at 180 or begins at −180,
// so there is nothing to cut (section 3.1.9).
func ring(c grid.Cell) [][2]float64 {
	return [][2]float64{{c.West, c.South}, {c.East, c.South}, {c.East, c.North}, {c.West, c.North}, {c.West, c.South}}
}

// readAs names the forms of grid.Place for a person.
var readAs = map[string]string{
	"locator": "locator; the place is the centre of its cell",
	"degrees": "latitude and longitude",
	"utm":     "UTM",
	"mgrs":    "MGRS; the place is the centre of its square",
	"geo":     "geo URI",
}

func printPlace(out io.Writer, r PlaceReport, p Somewhere, c cli.Grid) error {
	text := func(s *string) string {
		if s == nil {
			return "polar grid: not offered"
		}
		return *s
	}
	line := func(name, value string) string { return fmt.Sprintf("%-8s %s\n", name, value) }
	corners := func(lat float64) string {
		return fmt.Sprintf("%.6f, %.6f   %.6f, %.6f", lat, r.Cell.West, lat, r.Cell.East)
	}
	s := mark(p) + line("Locator", r.Locator)
	if p.form != "" {
		s += line("Read as", readAs[p.form])
	}
	if p.now != nil {
		s += line("Fix", p.fix())
	}
	s += line("Cell", fmt.Sprintf("%s north-south, %s east-west", metres(r.Cell.HeightM), metres(r.Cell.WidthM))) +
		line("  centre", p.cell().Center().Decimal()) +
		line("  north", corners(r.Cell.North)) +
		line("  south", corners(r.Cell.South)) +
		line("Degrees", p.Point.Decimal()) + line("Minutes", p.Point.DM()) + line("Seconds", p.Point.DMS()) +
		line("UTM", text(r.UTM)) + line("MGRS", text(r.MGRS)) + line("Geo", r.Geo) + surroundings(r, p, c)
	if p.note != "" {
		s += "Note" + wrap.Text("         ", p.note)[len("Note"):]
	}
	_, err := io.WriteString(out, terminal.Of(out).Fit(s))
	return err
}
