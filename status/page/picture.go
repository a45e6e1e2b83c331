package page

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"noonmark/status"
)

// Rules of the drawing.
//
//   - Left of "now": what was; right of it: what would be if every reading
//     stopped now. The two sides have scales of their own, and say so.
//   - The filled area is error ± guard: where it leaves the tolerance band, the
//     verdict is not within. Thinning keeps the outermost edges.
//   - Unknown is a hole, never a line.

// picture is one drawing of the record and the forecast, in user units.
type picture struct {
	ID                  string // makes names within the page unique
	W, H                float64
	Left, Right, Now    float64 // x of the plot's edges and of now
	Top, Bottom         float64 // y of the plot's edges
	TolTop, TolBottom   float64 // y of +tolerance and −tolerance
	Zero                float64
	TolText             string
	Guard, Error        string // paths of the past
	Ahead               string // path of the forecast
	GoodUntil           float64
	GoodUntilText       string
	Ticks               []tick
	SatTop, SatBottom   float64
	SatPath             string
	SatText             string
	BandTop, BandBottom float64
	Bands               []band
	Text                string // the same in words
}

type tick struct {
	X            float64
	Text, Anchor string
}

// band is a stretch of time on one basis.
type band struct {
	X, W  float64
	Class string
	Text  string // "" where there is no room
	TextX float64
}

// chart is what a picture is drawn from.
type chart struct {
	points []point
	ahead  []Ahead
	mode   *status.Mode
	clock  status.Clock
	until  string
}

var niceSpans = []float64{600, 1200, 1800, 3600, 2 * 3600, 3 * 3600, 4 * 3600, 6 * 3600, 12 * 3600, 86400, 2 * 86400, 4 * 86400, 7 * 86400, 14 * 86400, 30 * 86400}

// spanFor is the smallest round span that holds s, at most limit.
func spanFor(s, limit float64) float64 {
	for _, n := range niceSpans {
		if n >= s || n >= limit {
			return n
		}
	}
	return niceSpans[len(niceSpans)-1]
}

const pastLimitS = 6 * 3600

// PlotW and TolH are the sizes of the tolerance band.
func (p *picture) PlotW() float64 { return p.Right - p.Left }

// TolH is its height.
func (p *picture) TolH() float64 { return p.TolBottom - p.TolTop }

// draw makes the picture, w units wide; text in it is 12 units high.
func draw(c chart, w float64, id string) picture {
	p := picture{ID: id, W: w, H: 262, Left: 46, Right: w - 6, Top: 18, Bottom: 168, SatTop: 188, SatBottom: 212, BandTop: 218, BandBottom: 236}
	p.Now = p.Left + math.Round((p.Right-p.Left)*0.62)
	tol := c.mode.ToleranceS
	y := func(v float64) float64 {
		v = min(max(v, -1.3*tol), 1.3*tol)
		return p.Bottom - (v/tol+1.3)/2.6*(p.Bottom-p.Top)
	}
	p.TolTop, p.TolBottom, p.Zero, p.TolText = y(tol), y(-tol), y(0), plain(tol)
	past := p.drawPast(c.points, y)
	p.drawAhead(c, y)
	p.Text = inWords(c, past)
	return p
}

// drawPast draws the record and returns its span in seconds.
func (p *picture) drawPast(points []point, y func(float64) float64) float64 {
	if len(points) == 0 {
		return 0
	}
	newest := points[len(points)-1].at
	span := spanFor(newest.Sub(points[0].at).Seconds(), pastLimitS)
	x := func(q point) float64 {
		return p.Now - min(newest.Sub(q.at).Seconds()/span, 1)*(p.Now-p.Left)
	}
	p.ticks(span, true)
	var guard, line, sat strings.Builder
	for from := 0; from < len(points); {
		to := from
		for to < len(points) && !math.IsNaN(float64(points[to].low)) {
			to++
		}
		area(&guard, points[from:to], x, y, p.Now)
		from = to + 1
	}
	pen := "M"
	maxSat := 12.0
	for _, q := range points {
		maxSat = max(maxSat, float64(q.satellites))
	}
	for i, q := range points {
		if math.IsNaN(float64(q.err)) {
			pen = "M"
		} else {
			fmt.Fprintf(&line, "%s%.1f %.1f", pen, x(q), y(float64(q.err)))
			pen = "L"
		}
		end := p.Now
		if i+1 < len(points) {
			end = x(points[i+1])
		}
		if n := float64(q.satellites); n > 0 {
			h := n / maxSat * (p.SatBottom - p.SatTop)
			fmt.Fprintf(&sat, "M%.1f %.1fV%.1fH%.1fV%.1fZ", x(q), p.SatBottom, p.SatBottom-h, end, p.SatBottom)
		}
		p.band(q, x(q), end)
	}
	p.Guard, p.Error, p.SatPath = guard.String(), line.String(), sat.String()
	p.SatText = strconv.Itoa(int(maxSat))
	for i := range p.Bands {
		b := &p.Bands[i]
		b.TextX = b.X + b.W/2
		if b.W < float64(len(b.Text))*7+6 {
			b.Text = ""
		}
	}
	return span
}

// area adds a closed path of low and high edges. A stretch of one point gets
// the width of a stroke.
func area(b *strings.Builder, points []point, x func(point) float64, y func(float64) float64, now float64) {
	if len(points) == 0 {
		return
	}
	for i, q := range points {
		pen := "L"
		if i == 0 {
			pen = "M"
		}
		fmt.Fprintf(b, "%s%.1f %.1f", pen, x(q), y(float64(q.high)))
	}
	end := x(points[len(points)-1])
	if len(points) == 1 {
		end = min(end+1, now)
		fmt.Fprintf(b, "L%.1f %.1f", end, y(float64(points[0].high)))
		fmt.Fprintf(b, "L%.1f %.1f", end, y(float64(points[0].low)))
	}
	for i := len(points) - 1; i >= 0; i-- {
		fmt.Fprintf(b, "L%.1f %.1f", x(points[i]), y(float64(points[i].low)))
	}
	b.WriteString("Z")
}

var bandWords = map[string]string{status.BasisGNSS: "satellites", status.BasisPPS: "pulse", status.BasisNetwork: "network",
	status.BasisOperator: "operator", status.BasisRTC: "RTC", status.BasisHoldover: "holdover", status.BasisNone: "nothing"}

// band lengthens the last band to end, or begins another. A reference in doubt
// shows, whatever the basis.
func (p *picture) band(q point, from, end float64) {
	class, text := "b-"+bases[q.basis], bandWords[bases[q.basis]]
	if q.doubt {
		class, text = class+" b-doubt", text+", a doubt"
	}
	if n := len(p.Bands); n > 0 && p.Bands[n-1].Class == class {
		p.Bands[n-1].W = end - p.Bands[n-1].X
		return
	}
	p.Bands = append(p.Bands, band{X: from, W: end - from, Class: class, Text: text})
}

// drawAhead draws the forecast.
func (p *picture) drawAhead(c chart, y func(float64) float64) {
	if len(c.ahead) == 0 || !c.clock.ErrorS.OK || !c.clock.GuardS.OK {
		return
	}
	span := 3600.0
	if c.mode.GoodForS.OK {
		span = spanFor(1.25*c.mode.GoodForS.V, niceSpans[len(niceSpans)-1])
	}
	p.ticks(span, false)
	x := func(s float64) float64 { return p.Now + min(s/span, 1)*(p.Right-p.Now) }
	var path strings.Builder
	pen := "M"
	ahead := within(c.ahead, span)
	for _, a := range ahead {
		fmt.Fprintf(&path, "%s%.1f %.1f", pen, x(a.AfterS), y(a.ErrorS+a.GuardS))
		pen = "L"
	}
	for _, a := range slices.Backward(ahead) {
		fmt.Fprintf(&path, "L%.1f %.1f", x(a.AfterS), y(a.ErrorS-a.GuardS))
	}
	p.Ahead = path.String() + "Z"
	if c.mode.Verdict == status.Within && c.mode.GoodForS.OK {
		p.GoodUntil, p.GoodUntilText = x(c.mode.GoodForS.V), "good until "+c.until
	}
}

// within cuts a forecast where the plot ends.
func within(ahead []Ahead, span float64) []Ahead {
	for i, b := range ahead {
		if b.AfterS < span || i == 0 {
			continue
		}
		a := ahead[i-1]
		f := (span - a.AfterS) / (b.AfterS - a.AfterS)
		return append(slices.Clone(ahead[:i]), Ahead{span, a.ErrorS + f*(b.ErrorS-a.ErrorS), a.GuardS + f*(b.GuardS-a.GuardS)})
	}
	return ahead
}

// ticks marks the ends of an axis, and the middle of the past.
func (p *picture) ticks(span float64, past bool) {
	if past {
		p.Ticks = append(p.Ticks, tick{p.Left, "−" + status.Span(span), "start"}, tick{p.Now, "now", "middle"},
			tick{(p.Left + p.Now) / 2, "−" + status.Span(span/2), "middle"})
		return
	}
	p.Ticks = append(p.Ticks, tick{p.Right, "+" + status.Span(span), "end"})
}

// inWords says what the picture shows.
func inWords(c chart, spanS float64) string {
	var b strings.Builder
	lo, hi := math.Inf(1), math.Inf(-1)
	holes, over := 0, 0
	for _, q := range c.points {
		if math.IsNaN(float64(q.low)) {
			holes++
			continue
		}
		lo, hi = min(lo, float64(q.low)), max(hi, float64(q.high))
		if max(-float64(q.low), float64(q.high)) > c.mode.ToleranceS {
			over++
		}
	}
	switch {
	case len(c.points) < 2:
		b.WriteString("The record has only begun. ")
	case holes == len(c.points):
		b.WriteString("Nothing was known of the clock's error so far. ")
	default:
		fmt.Fprintf(&b, "In the last %s the clock was between %s and %s, guard included; the tolerance is %s s. ",
			status.Span(min(spanS, c.points[len(c.points)-1].at.Sub(c.points[0].at).Seconds())), signed(lo), signed(hi), plain(c.mode.ToleranceS))
		fmt.Fprintf(&b, "It was inside the tolerance for %d %% of that time. ", 100*(len(c.points)-holes-over)/len(c.points))
	}
	if c.mode.Verdict == status.Within && c.mode.GoodForS.OK {
		fmt.Fprintf(&b, "If every reading stopped now, it would stay inside for %s.", status.Span(c.mode.GoodForS.V))
	} else {
		b.WriteString("There is no margin to last.")
	}
	return b.String()
}

func signed(v float64) string {
	return strings.Replace(fmt.Sprintf("%+.2f s", v), "-", "−", 1)
}

// plain writes a number without idle decimals.
func plain(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }
