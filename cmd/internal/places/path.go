package places

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"noonmark/cmd/internal/around"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/terminal"
	"noonmark/cmd/internal/wrap"
	"noonmark/grid"
)

type lineReport struct {
	DistanceM      float64 `json:"distance_m"`
	HeadingDeg     float64 `json:"heading_deg"`
	BackHeadingDeg float64 `json:"back_heading_deg"`
}

// boundReport is the ± of a lineReport, from the areas that its ends name.
type boundReport struct {
	DistanceBoundM      float64 `json:"distance_bound_m"`
	HeadingBoundDeg     float64 `json:"heading_bound_deg"` // 180: any direction
	BackHeadingBoundDeg float64 `json:"back_heading_bound_deg"`
}

type PathReport struct {
	lineReport
	boundReport
	LongPath lineReport      `json:"long_path"`
	To       endReport       `json:"to"`
	From     endReport       `json:"from"`
	Compass  *headingsReport `json:"compass"` // null where no model holds
	Sun      daysReport      `json:"sun"`
}

// endReport says how an end was read.
type endReport struct {
	ReadAs string  `json:"read_as"` // as grid.Place has it; "here" for the present place
	LatDeg float64 `json:"lat_deg"`
	LonDeg float64 `json:"lon_deg"`
	ReachM float64 `json:"reach_m"` // how far the place may be from there
	// Simulated: "here" is where the demo's station is, not this one.
	Simulated bool `json:"simulated,omitempty"`
}

func endOf(p Somewhere) endReport {
	e := endReport{ReadAs: p.form, ReachM: p.reachM, Simulated: p.simulated}
	if p.now != nil {
		e.ReadAs = "here"
	}
	e.LatDeg, e.LonDeg = p.Point.LatLon()
	return e
}

// read says in a line how an end was read.
func (p *Somewhere) read(name string) string {
	as := readAs[p.form]
	if p.now != nil {
		as = "this station, " + p.fix()
	}
	place := p.Point.Decimal()
	if p.reachM > 0 {
		place += " ± " + metresUp(p.reachM)
	}
	return name + wrap.Text("            ", place+" ("+as+")")[len(name):]
}

// Path gives distance and headings from FROM to TO, or to each place of a list.
func Path(c cli.Path, in io.Reader, out, errOut io.Writer) (int, error) {
	if c.List != "" {
		return pathList(c, in, out, errOut)
	}
	if len(c.Words) == 0 {
		return exit.Misuse, exit.Usage(errors.New("path: where to? Name a place, or a list of places with --list FILE"))
	}
	toText, fromText, err := cutPlaces(c.Words)
	if err != nil {
		return exit.Misuse, err
	}
	to, err := ReadPlace(toText)
	if err != nil {
		return exit.Misuse, err
	}
	from, err := startOf(fromText, c.RunDir)
	if err != nil {
		return exit.Misuse, err
	}
	short, bound := grid.Between(from.end, to.end)
	long := grid.LongPath(from.Point, to.Point)
	at, err := instant(c.At, time.Now())
	if err != nil {
		return exit.Misuse, err
	}
	compass, days := headingsOf(from.Point, to.Point, short, long, bound, at), daysOf(from.Point, short, to.Point, at)
	if c.JSON {
		return exit.OK, json.NewEncoder(out).Encode(PathReport{lineReport(short), boundReport{bound.DistanceM, bound.HeadingDeg, bound.BackHeadingDeg}, lineReport(long), endOf(to), endOf(from), compass, days})
	}
	s := mark(to, from) + fmt.Sprintf("%-10s  %9s  heading %03.0f°, back %03.0f°\n", "Short path", metres(short.DistanceM), whole(short.HeadingDeg), whole(short.BackHeadingDeg)) +
		fmt.Sprintf("%-10s  %9s  heading %03.0f°, back %03.0f°\n", "Long path", metres(long.DistanceM), whole(long.HeadingDeg), whole(long.BackHeadingDeg))
	if c.Miles {
		s += "Distances" + wrap.Text("            ", fmt.Sprintf("%s; long path %s", inMiles(metres(short.DistanceM), short.DistanceM, true), inMiles(metres(long.DistanceM), long.DistanceM, true)))[len("Distances"):]
	}
	s += compass.text(at) + to.read("To") + from.read("From") + days.text(c.Miles)
	if bound != (grid.Bound{}) {
		s += wrap.Text("", fmt.Sprintf("Give or take: distance ± %s, heading %s, back %s.",
			metresUp(bound.DistanceM), around.PlusMinus(bound.HeadingDeg), around.PlusMinus(bound.BackHeadingDeg)))
	}
	for _, p := range []Somewhere{from, to} {
		if p.note != "" {
			s += "Note" + wrap.Text("     ", p.note)[len("Note"):]
		}
	}
	_, err = io.WriteString(out, terminal.Of(out).Fit(s))
	return exit.OK, err
}

// startOf is the place named, or the present one.
func startOf(text, runDir string) (Somewhere, error) {
	if text == "" {
		return Here(runDir)
	}
	return ReadPlace(text)
}
