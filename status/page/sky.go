package page

import (
	"fmt"
	"math"
	"strconv"

	"noonmark/status"
)

// sky is where the satellites are, seen from below: north up, east right, the horizon at
// the rim, the zenith in the middle; and where over the hours signals came from.
type sky struct {
	Dots    []skyDot
	Masks   []string // paths of what nothing was heard from though something was there
	Hidden  string   // that in words, "" when nothing is known to hide anything
	Signals []Row
	Text    string
}

// skyDot is a satellite: its size is its strength.
type skyDot struct {
	X, Y, R     float64
	Heard       bool
	Name        string
	Says        string
	LabelX      float64
	LabelY      float64
	LabelAnchor string
}

// Cells of the record of the sky: 30° of azimuth by 15° of elevation, so that a satellite
// (some 0.5° a minute) stays a while in each.
const (
	azimuthCells   = 12
	elevationCells = 6
)

// skyRecord counts satellites seen in a cell, and heard there.
type skyRecord [azimuthCells * elevationCells]struct{ seen, heard uint32 }

func cellOf(s Satellite) int {
	if s.ElevationDeg < 0 || s.ElevationDeg > 90 || s.AzimuthDeg < 0 || s.AzimuthDeg >= 360 {
		return -1
	}
	return int(s.AzimuthDeg/(360/azimuthCells))*elevationCells + min(int(s.ElevationDeg/(90/elevationCells)), elevationCells-1)
}

func (r *skyRecord) add(sats []Satellite) {
	for _, s := range sats {
		c := cellOf(s)
		if c < 0 {
			continue
		}
		r[c].seen++
		if s.CN0DBHz > 0 {
			r[c].heard++
		}
	}
}

// leastSeen is how often a cell must have been looked at before silence in it means
// something: ten minutes of looks, one a second.
const leastSeen = 600

// sky draws the satellites and what hides them.
func (d *details) sky(q *status.Position, sats []Satellite, r skyRecord) {
	if q == nil && len(sats) == 0 {
		d.SkySummary = "The receiver does not report satellites."
		return
	}
	used := "an unknown number"
	if q != nil && q.Satellites.OK {
		used = strconv.Itoa(int(q.Satellites.V))
	}
	d.SkySummary = used + " used"
	if len(sats) == 0 {
		return
	}
	tracked := 0
	d.Sky = &sky{}
	for _, s := range sats {
		if s.CN0DBHz > 0 {
			tracked++
		}
		d.Sky.add(s)
	}
	d.SkySummary += fmt.Sprintf(", %d heard, %d in view", tracked, len(sats))
	d.Sky.mask(r)
	d.Sky.Text = "The sky from below, north up: " + d.SkySummary + ". " + d.Sky.Hidden
}

func polar(azimuthDeg, elevationDeg float64) (x, y float64) {
	s, c := math.Sincos(azimuthDeg * math.Pi / 180)
	r := 90 - elevationDeg
	return math.Round(r * s), -math.Round(r * c)
}

func (k *sky) add(s Satellite) {
	says := "no signal"
	if s.CN0DBHz > 0 {
		says = fmt.Sprintf("%.0f dB-Hz", s.CN0DBHz)
	}
	name := status.Clean(s.Name)
	if s.ElevationDeg >= 0 && s.AzimuthDeg >= 0 {
		says += fmt.Sprintf(", %.0f° high, azimuth %.0f°", s.ElevationDeg, s.AzimuthDeg)
		x, y := polar(s.AzimuthDeg, s.ElevationDeg)
		at := skyDot{X: x, Y: y, R: 3, Heard: s.CN0DBHz > 0, Name: name, Says: says, LabelX: x, LabelY: y - 9, LabelAnchor: "middle"}
		if at.Heard {
			at.R = 3 + math.Round(min(max(s.CN0DBHz-20, 0), 30)/6)
		}
		k.Dots = append(k.Dots, at)
	}
	k.Signals = append(k.Signals, Row{name, says})
}

// mask draws the cells in which satellites stood and none was heard.
func (k *sky) mask(r skyRecord) {
	names := []string{"north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"}
	hidden := make(map[string]bool)
	text := ""
	for i, c := range r {
		if c.seen < leastSeen || c.heard*20 > c.seen {
			continue
		}
		az, el := float64(i/elevationCells)*360/azimuthCells, float64(i%elevationCells)*90/elevationCells
		k.Masks = append(k.Masks, sector(az, az+360/azimuthCells, el, el+90/elevationCells))
		if name := names[int(math.Mod(az+15+22.5, 360)/45)]; !hidden[name] {
			hidden[name] = true
			if text != "" {
				text += ", "
			}
			text += name
		}
	}
	if text != "" {
		k.Hidden = "Something hides the sky to the " + text + "."
	}
}

// sector is a piece of the sky between two azimuths and two elevations.
func sector(az1, az2, el1, el2 float64) string {
	at := func(az, el float64) string { x, y := polar(az, el); return fmt.Sprintf("%.0f %.0f", x, y) }
	return fmt.Sprintf("M%sA%.0f %.0f 0 0 1 %sL%sA%.0f %.0f 0 0 0 %sZ", at(az1, el1), 90-el1, 90-el1, at(az2, el1), at(az2, el2), 90-el2, 90-el2, at(az1, el2))
}
