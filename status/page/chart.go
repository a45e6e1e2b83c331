package page

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// Rules of the drawing.
//
//   - One scale of time: left of "now" what was; right of it what would be if every
//     reading stopped now.
//   - The height is the inverse hyperbolic sine of the error over a tenth of the
//     tolerance: linear near zero, logarithmic beyond, so that a tenth of a second and
//     twenty are seen at once. What is beyond offScale tolerances is marked as such.
//   - The filled area is error ± the worst case: where it leaves the tolerance, the
//     answer is not good. Thinning keeps the outermost edges.
//   - Unknown is a hole, never a line.

// picture is one drawing of the record and the forecast, in user units.
type picture struct {
	W, H                float64
	Left, Right, Now    float64 // x of the plot's edges and of now
	Top, Bottom         float64 // y of the plot's edges
	TolTop, TolBottom   float64 // y of +tolerance and −tolerance
	Zero                float64
	Marks               []mark // of the axis
	Guard, Error        string // paths of the past
	Ahead               string // path of the forecast
	Off                 string // path of what is off the scale
	GoodUntil           float64
	GoodUntilText       string
	Ticks               []tick
	Events              []happened
	SatTop, SatBottom   float64
	SatPath             string
	BandTop, BandBottom float64
	Bands               []band
	Text                string // the same in words
}

type mark struct {
	Y    float64
	Text string
}

type tick struct {
	X            float64
	Text, Anchor string
}

type happened struct {
	X    float64
	Text string
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
	events []status.Event
	now    timescale.UTC
	knows  bool // now has a meaning
}

const (
	pastLimitS = 16 * 3600 // of the record, at most so much is drawn; half of it ahead
	offScale   = 30.0      // tolerances
)

// spans are the lengths of the past that are drawn, s.
var spans = []float64{1200, 3600, 2 * 3600, 4 * 3600, 8 * 3600, 12 * 3600, pastLimitS}

func spanFor(s float64) float64 {
	for _, n := range spans {
		if n >= s {
			return n
		}
	}
	return pastLimitS
}

// PlotW, TolH and PlotH are sizes of the tolerance band and of the plot.
func (p *picture) PlotW() float64 { return p.Right - p.Left }

// TolH is the height of the tolerance band.
func (p *picture) TolH() float64 { return p.TolBottom - p.TolTop }

// PlotH is the height of the plot.
func (p *picture) PlotH() float64 { return p.Bottom - p.Top }

// heightOf maps an error in tolerances to −1…1.
func heightOf(v float64) float64 {
	return min(max(math.Asinh(10*v)/math.Asinh(10*offScale), -1), 1)
}

// draw makes the picture, w units wide; text in it is 13 units high.
func draw(c chart, w float64) picture {
	p := picture{W: w, H: 330, Left: 54, Right: w - 6, Top: 24, Bottom: 236, SatTop: 252, SatBottom: 274, BandTop: 280, BandBottom: 300}
	tol := c.mode.ToleranceS
	y := func(v float64) float64 {
		return math.Round(10*((p.Top+p.Bottom)/2-heightOf(v/tol)*(p.Bottom-p.Top)/2)) / 10
	}
	p.TolTop, p.TolBottom, p.Zero = y(tol), y(-tol), y(0)
	for _, v := range []float64{10 * tol, tol, 0, -tol, -10 * tol} {
		text := plain(v) + " s"
		if v > 0 {
			text = "+" + text
		}
		p.Marks = append(p.Marks, mark{y(v), text})
	}
	span := spans[0]
	if n := len(c.points); n > 0 {
		span = spanFor(c.points[n-1].at.Sub(c.points[0].at).Seconds())
	}
	p.Now = p.Left + math.Round(p.PlotW()*2/3)
	scale := (p.Now - p.Left) / span
	x := func(s float64) float64 { return math.Round(10*(p.Now+min(max(s, -span), span/2)*scale)) / 10 }
	past := p.drawPast(c.points, x, y)
	p.drawAhead(c, span/2, x, y)
	p.ticks(span, c, x)
	for _, e := range c.events {
		if c.knows && e.UTC.OK && c.now.Sub(e.UTC.V).Seconds() < span {
			p.Events = append(p.Events, happened{x(-c.now.Sub(e.UTC.V).Seconds()), e.UTC.V.Time().Format("15:04") + " " + status.Clean(e.Text)})
		}
	}
	p.Text = inWords(c, past)
	return p
}

// drawPast draws the record and returns its span in seconds.
func (p *picture) drawPast(points []point, x, y func(float64) float64) float64 {
	if len(points) == 0 {
		return 0
	}
	newest := points[len(points)-1].at
	at := func(q point) float64 { return x(-newest.Sub(q.at).Seconds()) }
	var guard, line, sat, off strings.Builder
	for from := 0; from < len(points); {
		to := from
		for to < len(points) && !math.IsNaN(float64(points[to].low)) {
			to++
		}
		area(&guard, points[from:to], at, y, p.Now)
		from = to + 1
	}
	pen := "M"
	maxSat := 12.0
	for _, q := range points {
		maxSat = max(maxSat, float64(q.satellites))
	}
	for i, q := range points {
		end := p.Now
		if i+1 < len(points) {
			end = at(points[i+1])
		}
		e := float64(q.err)
		if math.IsNaN(e) {
			pen = "M"
		} else {
			fmt.Fprintf(&line, "%s%g %g", pen, at(q), y(e))
			pen = "L"
			if edge := y(e); edge <= p.Top || edge >= p.Bottom {
				fmt.Fprintf(&off, "M%g %gH%g", at(q), edge, max(end, at(q)+1))
			}
		}
		if n := float64(q.satellites); n > 0 {
			fmt.Fprintf(&sat, "M%g %gV%.1fH%gV%gZ", at(q), p.SatBottom, p.SatBottom-n/maxSat*(p.SatBottom-p.SatTop), end, p.SatBottom)
		}
		p.band(q, at(q), end)
	}
	p.Guard, p.Error, p.SatPath, p.Off = guard.String(), line.String(), sat.String(), off.String()
	for i := range p.Bands {
		b := &p.Bands[i]
		b.TextX = math.Round(b.X + b.W/2)
		if b.W < float64(len(b.Text))*8+6 {
			b.Text = ""
		}
	}
	return newest.Sub(points[0].at).Seconds()
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
		fmt.Fprintf(b, "%s%g %g", pen, x(q), y(float64(q.high)))
	}
	last := points[len(points)-1]
	end := min(x(last)+1, now)
	fmt.Fprintf(b, "L%g %gL%g %g", end, y(float64(last.high)), end, y(float64(last.low)))
	for _, q := range slices.Backward(points) {
		fmt.Fprintf(b, "L%g %g", x(q), y(float64(q.low)))
	}
	b.WriteString("Z")
}

var bandWords = map[string]string{status.BasisGNSS: "satellites", status.BasisPPS: "pulse", status.BasisNetwork: "network",
	status.BasisOperator: "mark", status.BasisRTC: "hardware clock", status.BasisHoldover: "on its own", status.BasisNone: "nothing"}

// band lengthens the last band to end, or begins another. A reference in doubt
// shows, whatever the basis.
func (p *picture) band(q point, from, end float64) {
	class, text := "b-"+bases[q.basis], bandWords[bases[q.basis]]
	if q.doubt {
		class, text = class+" b-doubt", text+", a doubt"
	}
	if n := len(p.Bands); n > 0 && p.Bands[n-1].Class == class {
		p.Bands[n-1].W = math.Round(10*(end-p.Bands[n-1].X)) / 10
		return
	}
	p.Bands = append(p.Bands, band{X: from, W: math.Round(10*(end-from)) / 10, Class: class, Text: text})
}

// drawAhead draws the forecast, for so many seconds.
func (p *picture) drawAhead(c chart, spanS float64, x, y func(float64) float64) {
	if len(c.ahead) == 0 || !c.clock.ErrorS.OK || !c.clock.GuardS.OK {
		return
	}
	var path strings.Builder
	pen := "M"
	ahead := within(c.ahead, spanS)
	for _, a := range ahead {
		fmt.Fprintf(&path, "%s%g %g", pen, x(a.AfterS), y(a.ErrorS+a.GuardS))
		pen = "L"
	}
	for _, a := range slices.Backward(ahead) {
		fmt.Fprintf(&path, "L%g %g", x(a.AfterS), y(a.ErrorS-a.GuardS))
	}
	p.Ahead = path.String() + "Z"
	if g := c.mode.GoodForS; c.mode.Verdict == status.Within && g.OK {
		p.GoodUntil, p.GoodUntilText = x(g.V), "good for "+status.Span(g.V)
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

// ticks marks the ends of the axis, now, and the middle of the past, by the hour of UTC
// where that is known.
func (p *picture) ticks(span float64, c chart, x func(float64) float64) {
	for _, t := range []struct {
		s      float64
		anchor string
	}{{-span, "start"}, {-span / 2, "middle"}, {span / 2, "end"}} {
		text := strings.Replace(strconv.FormatFloat(t.s/3600, 'g', 3, 64)+" h", "-", "−", 1)
		if t.s > 0 {
			text = "+" + text
		}
		if c.knows {
			text = c.now.Time().Add(time.Duration(t.s * 1e9)).Format("15:04")
		}
		p.Ticks = append(p.Ticks, tick{x(t.s), text, t.anchor})
	}
	p.Ticks = append(p.Ticks, tick{p.Now, "now", "middle"})
}
