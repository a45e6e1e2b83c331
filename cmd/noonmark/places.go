package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"noonmark/cmd/internal/cli"
	"noonmark/grid"
	"noonmark/status"
)

// placeReport is a place in every form.
type placeReport struct {
	Locator string     `json:"locator"`
	LatDeg  float64    `json:"lat_deg"`
	LonDeg  float64    `json:"lon_deg"`
	Cell    cellReport `json:"cell"`
	UTM     *string    `json:"utm"` // null where UTM is not defined
	MGRS    *string    `json:"mgrs"`
	Geo     string     `json:"geo"`
}

type cellReport struct {
	South float64 `json:"south_deg"`
	West  float64 `json:"west_deg"`
	North float64 `json:"north_deg"`
	East  float64 `json:"east_deg"`
}

// somewhere is a place and what is known of its accuracy.
type somewhere struct {
	point        grid.Point
	length       int
	uncertaintyM float64 // −1 = not known
	note         string
}

// gridPlace answers for the present place or for the one named.
func gridPlace(c cli.Grid, out io.Writer) (int, error) {
	var p somewhere
	var err error
	if c.Place() == "" {
		p, err = here(c.RunDir)
	} else {
		p, err = readPlace(c.Place())
	}
	if err != nil {
		return exitNo, err
	}
	length := p.length
	if c.Length != 0 {
		length = min(length, c.Length)
	}
	cell := p.point.Cell(length)
	lat, lon := p.point.LatLon()
	r := placeReport{Locator: cell.Locator(), LatDeg: lat, LonDeg: lon, Geo: p.point.Geo(p.uncertaintyM),
		Cell: cellReport{cell.South, cell.West, cell.North, cell.East}}
	if text, ok := p.point.UTM(); ok {
		r.UTM = &text
	}
	if text, ok := p.point.MGRS(); ok {
		r.MGRS = &text
	}
	if c.JSON {
		return exitOK, json.NewEncoder(out).Encode(r)
	}
	return exitOK, printPlace(out, r, cell, p)
}

func printPlace(out io.Writer, r placeReport, cell grid.Cell, p somewhere) error {
	h, w := cell.Size()
	text := func(s *string) string {
		if s == nil {
			return "not defined here"
		}
		return *s
	}
	_, err := fmt.Fprintf(out, "Locator  %s   (cell %s north-south, %s east-west)\nDegrees  %s\nMinutes  %s\nSeconds  %s\nUTM      %s\nMGRS     %s\nGeo      %s\n",
		r.Locator, metres(h), metres(w), p.point.Decimal(), p.point.DM(), p.point.DMS(), text(r.UTM), text(r.MGRS), r.Geo)
	if p.note != "" && err == nil {
		_, err = fmt.Fprintf(out, "Note     %s\n", p.note)
	}
	return err
}

// here is the present place from the published status.
func here(runDir string) (somewhere, error) {
	s, now, err := published(runDir)
	if err != nil {
		return somewhere{}, codeError{exitCannot, err}
	}
	if f := status.Fresh(s, now); !f.OK {
		return somewhere{}, codeError{exitCannot, errors.New(f.Because)}
	}
	if s.Position == nil || !s.Position.LatDeg.OK || !s.Position.LonDeg.OK {
		return somewhere{}, codeError{exitCannot, errors.New("there is no position fix yet: give the receiver an open sky, or name a place")}
	}
	pt, err := grid.Degrees(s.Position.LatDeg.V, s.Position.LonDeg.V)
	if err != nil {
		return somewhere{}, codeError{exitCannot, err}
	}
	p := somewhere{point: pt, length: max(len(s.Position.Locator), 2), uncertaintyM: -1}
	if s.Position.BoundM.OK {
		p.uncertaintyM = s.Position.BoundM.V
	}
	if s.Position.AgeS.OK && s.Position.AgeS.V > 10 {
		p.note = fmt.Sprintf("the last fix is %.0f s old", s.Position.AgeS.V)
	}
	return p, nil
}

// readPlace reads what was typed; a fault is shown under the text.
func readPlace(text string) (somewhere, error) {
	pl, err := grid.ParsePlace(text)
	if err != nil {
		var se *grid.SyntaxError
		if errors.As(err, &se) && se.Offset <= len(text) {
			err = fmt.Errorf("%w\n  %s\n  %s^", err, text, strings.Repeat(" ", len([]rune(text[:se.Offset]))))
		}
		return somewhere{}, usageError{err}
	}
	return somewhere{point: pl.Point, length: pl.Length, uncertaintyM: pl.UncertaintyM, note: pl.Note}, nil
}

type lineReport struct {
	DistanceM      float64 `json:"distance_m"`
	HeadingDeg     float64 `json:"heading_deg"`
	BackHeadingDeg float64 `json:"back_heading_deg"`
}

type pathReport struct {
	lineReport
	LongPath lineReport `json:"long_path"`
}

// path gives distance and headings from FROM to TO.
func path(c cli.Path, out io.Writer) (int, error) {
	to, err := readPlace(c.To)
	if err != nil {
		return exitUsage, err
	}
	var from somewhere
	if c.From == "" {
		from, err = here(c.RunDir)
	} else {
		from, err = readPlace(c.From)
	}
	if err != nil {
		return exitUsage, err
	}
	short, long := grid.Inverse(from.point, to.point), grid.LongPath(from.point, to.point)
	if c.JSON {
		return exitOK, json.NewEncoder(out).Encode(pathReport{lineReport(short), lineReport(long)})
	}
	fuzz := ""
	if r := reach(to) + reach(from); r >= 1000 {
		fuzz = fmt.Sprintf("  ± %s (size of the locators)", metres(r))
	}
	_, err = fmt.Fprintf(out, "Short path  %9s  heading %03.0f°, back %03.0f°%s\nLong path   %9s  heading %03.0f°, back %03.0f°\n",
		metres(short.DistanceM), whole(short.HeadingDeg), whole(short.BackHeadingDeg), fuzz,
		metres(long.DistanceM), whole(long.HeadingDeg), whole(long.BackHeadingDeg))
	return exitOK, err
}

// reach is how far a place may be from its centre, metres: half its cell's diagonal.
func reach(p somewhere) float64 {
	h, w := p.point.Cell(p.length).Size()
	return math.Hypot(h, w) / 2
}

// whole rounds a heading to a degree below 360.
func whole(deg float64) float64 { return math.Mod(math.Round(deg), 360) }

func metres(m float64) string {
	switch {
	case m < 1000:
		return fmt.Sprintf("%.1f m", m)
	case m < 100_000:
		return fmt.Sprintf("%.2f km", m/1000)
	}
	return fmt.Sprintf("%.0f km", m/1000)
}
