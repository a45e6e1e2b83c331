package page

import (
	"fmt"
	"sort"
	"strconv"
	"strings"

	"noonmark/status"
)

func (v *view) place(q *status.Position) {
	if q == nil {
		v.LocatorNote = "No satellite fix yet."
		return
	}
	v.Locator = status.Clean(q.Locator)
	if len(v.Locator) > 6 {
		v.Locator, v.LocatorFine = v.Locator[:6], v.Locator[6:]
	}
	var notes []string
	if q.BoundM.OK {
		notes = append(notes, fmt.Sprintf("± %.0f m", q.BoundM.V))
		v.PlaceRows = append(v.PlaceRows, Row{"Accuracy", fmt.Sprintf("± %.0f m (99 %%)", q.BoundM.V)})
	}
	if q.EdgeM.OK {
		v.PlaceRows = append(v.PlaceRows, Row{"To the square's edge", fmt.Sprintf("%.0f m", q.EdgeM.V)})
	}
	if q.AltM.OK {
		v.PlaceRows = append(v.PlaceRows, Row{"Height", fmt.Sprintf("%.0f m above the sea", q.AltM.V)})
	}
	v.PlaceRows = append(v.PlaceRows, Row{"Fix", status.Clean(q.Fix)})
	if past := q.Past(); past != "" {
		notes = append(notes, past)
	}
	if q.Moving {
		notes = append(notes, "moving")
	}
	v.LocatorNote = strings.Join(notes, ", ")
}

// sky words the satellites and draws their signals as bars, 50 dB-Hz high.
func (v *view) sky(q *status.Position, sats []Satellite) {
	if q == nil && len(sats) == 0 {
		v.SkySummary = "The receiver tells nothing of satellites."
		return
	}
	used := "an unknown number"
	if q != nil && q.Satellites.OK {
		used = strconv.Itoa(int(q.Satellites.V))
	}
	v.SkySummary = used + " used"
	if len(sats) == 0 {
		return
	}
	tracked := 0
	const pitch, top, full = 15, 62, 50.0
	for i, s := range sats {
		b := bar{Name: status.Clean(s.Name), Signal: "no signal", X: float64(i * pitch), Y: top}
		if s.CN0DBHz >= 0 {
			tracked++
			b.H = min(s.CN0DBHz/full, 1) * top
			b.Y, b.Signal = top-b.H, fmt.Sprintf("%.0f dB-Hz", s.CN0DBHz)
		}
		if s.ElevationDeg >= 0 && s.AzimuthDeg >= 0 {
			b.Signal += fmt.Sprintf(", %.0f° high, azimuth %.0f°", s.ElevationDeg, s.AzimuthDeg)
		}
		v.Sky = append(v.Sky, b)
	}
	v.SkySummary += fmt.Sprintf(", %d heard, %d in view", tracked, len(sats))
}

func (v *view) receiver(r *status.Receiver) {
	if r == nil {
		return
	}
	rows := []Row{{"Receiver", status.Clean(r.Device)}}
	if r.Baud > 0 {
		rows = append(rows, Row{"Line", fmt.Sprintf("%d bit/s", r.Baud)})
	}
	var skipped int64
	reasons := make([]string, 0, len(r.Skipped))
	for why, n := range r.Skipped {
		if n > 0 {
			skipped += n
			reasons = append(reasons, fmt.Sprintf("%s %d", status.Clean(why), n))
		}
	}
	sort.Strings(reasons)
	text := "none skipped"
	if skipped > 0 {
		text = "skipped: " + strings.Join(reasons, ", ")
	}
	rows = append(rows, Row{"Sentences", text})
	v.Facts = append(rows, v.Facts...)
}

// battery tells of a hardware clock's backup cell, where its chip does.
func (v *view) battery(refs []status.Reference) {
	for _, r := range refs {
		if r.Battery != "" {
			v.Facts = append([]Row{{"Battery of the " + status.Clean(r.Name), status.Clean(r.Battery)}}, v.Facts...)
		}
	}
}

func (v *view) events(events []status.Event) {
	for i := len(events) - 1; i >= 0 && len(v.Events) < 8; i-- {
		at := "time not known"
		if e := events[i]; e.UTC.OK {
			at = e.UTC.V.Time().Format("02 Jan 15:04:05")
		}
		v.Events = append(v.Events, Row{at, status.Clean(events[i].Text)})
	}
}
