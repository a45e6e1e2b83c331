package lab

import (
	"bytes"
	"fmt"
	"html"
	"math"
	"time"

	"noonmark/status"
)

// Picture gathers a night for drawing: the true error of the system clock, what
// the station says of it with bound and guard, the verdicts, and the events.
type Picture struct {
	points []point
	last   string
	marks  []mark
}

type point struct {
	at                       time.Duration
	truth, err, bound, guard float64
	known                    bool
	verdicts                 []string
}

type mark struct {
	at   time.Duration
	text string
}

// Add is a Trace.
func (p *Picture) Add(at time.Duration, truth float64, s *status.Snapshot) {
	if n := len(s.Events); n > 0 && s.Events[n-1].Text != p.last {
		p.last = s.Events[n-1].Text
		p.marks = append(p.marks, mark{at, p.last})
	}
	if n := len(p.points); n > 0 && at-p.points[n-1].at < 10*time.Second {
		return
	}
	q := point{at: at, truth: truth, err: s.Clock.ErrorS.V, bound: s.Clock.BoundS.V, guard: s.Clock.GuardS.V, known: s.Clock.GuardS.OK}
	for _, m := range s.Modes {
		q.verdicts = append(q.verdicts, m.Verdict)
	}
	p.points = append(p.points, q)
}

// Sizes of the drawing, in its own units.
const (
	width, height = 1200.0, 640.0
	left, right   = 70.0, 20.0
	top, plotH    = 40.0, 380.0
	bandH         = 18.0
)

// SVG draws. The scale of the error is signed and cube-root, so that milliseconds and
// seconds both show.
func (p *Picture) SVG(c *Case) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" font-family="sans-serif" font-size="13">`+"\n", width, height)
	fmt.Fprintf(&b, `<title>%s</title><rect width="100%%" height="100%%" fill="#fff"/>`+"\n", html.EscapeString(c.Name))
	fmt.Fprintf(&b, `<text x="%g" y="22" font-size="16">%s: %s</text>`+"\n", left, html.EscapeString(c.Name), html.EscapeString(short(c.Summary, 110)))
	x := func(t time.Duration) float64 { return left + (width-left-right)*float64(t)/float64(c.Length) }
	y := func(s float64) float64 {
		v := math.Cbrt(math.Max(-5, math.Min(5, s))) / math.Cbrt(5)
		return top + plotH/2*(1-v)
	}
	p.axes(&b, c, x, y)
	p.area(&b, x, y, func(q point) float64 { return q.guard }, "#cfe3f5")
	p.area(&b, x, y, func(q point) float64 { return q.bound }, "#9cc4e8")
	p.curve(&b, x, y, func(q point) (float64, bool) { return q.err, q.known }, "#1f5f99", 1.5)
	p.curve(&b, x, y, func(q point) (float64, bool) { return q.truth, true }, "#b3261e", 1.5)
	p.bands(&b, c, x)
	p.list(&b, c, x)
	b.WriteString("</svg>\n")
	return b.Bytes()
}

func short(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n]) + "…"
	}
	return s
}

func (p *Picture) axes(b *bytes.Buffer, c *Case, x func(time.Duration) float64, y func(float64) float64) {
	for _, s := range []float64{-5, -1, -0.3, -0.1, -0.01, 0, 0.01, 0.1, 0.3, 1, 5} {
		fmt.Fprintf(b, `<path d="M%g %.1fH%g" stroke="#ddd"/><text x="%g" y="%.1f" text-anchor="end">%g s</text>`+"\n", left, y(s), width-right, left-6, y(s)+4, s)
	}
	for _, m := range c.Modes {
		for _, s := range []float64{m.Tolerance.Seconds(), -m.Tolerance.Seconds()} {
			fmt.Fprintf(b, `<path d="M%g %.1fH%g" stroke="#555" stroke-dasharray="6 4"/>`+"\n", left, y(s), width-right)
		}
		fmt.Fprintf(b, `<text x="%g" y="%.1f" fill="#555">%s tolerance</text>`+"\n", left+4, y(m.Tolerance.Seconds())-3, m.Name)
	}
	step := time.Hour
	for c.Length/step > 14 {
		step *= 2
	}
	for t := time.Duration(0); t <= c.Length; t += step {
		fmt.Fprintf(b, `<text x="%.1f" y="%g" text-anchor="middle">%.0f h</text>`+"\n", x(t), top+plotH+16, t.Hours())
	}
}

// runs calls f with each stretch of points without a hole.
func (p *Picture) runs(has func(point) bool, f func([]point)) {
	begin := -1
	for i, q := range p.points {
		hole := i > 0 && q.at-p.points[i-1].at > time.Minute
		if begin >= 0 && (hole || !has(q)) {
			f(p.points[begin:i])
			begin = -1
		}
		if begin < 0 && has(q) {
			begin = i
		}
	}
	if begin >= 0 {
		f(p.points[begin:])
	}
}

func (p *Picture) area(b *bytes.Buffer, x func(time.Duration) float64, y func(float64) float64, half func(point) float64, colour string) {
	p.runs(func(q point) bool { return q.known }, func(run []point) {
		fmt.Fprintf(b, `<path fill="%s" d="M`, colour)
		for _, q := range run {
			fmt.Fprintf(b, "%.1f %.1f ", x(q.at), y(q.err+half(q)))
		}
		for i := len(run) - 1; i >= 0; i-- {
			fmt.Fprintf(b, "%.1f %.1f ", x(run[i].at), y(run[i].err-half(run[i])))
		}
		b.WriteString("Z\"/>\n")
	})
}

func (p *Picture) curve(b *bytes.Buffer, x func(time.Duration) float64, y func(float64) float64, get func(point) (float64, bool), colour string, w float64) {
	p.runs(func(q point) bool { _, ok := get(q); return ok }, func(run []point) {
		fmt.Fprintf(b, `<path fill="none" stroke="%s" stroke-width="%g" d="M`, colour, w)
		for _, q := range run {
			v, _ := get(q)
			fmt.Fprintf(b, "%.1f %.1f ", x(q.at), y(v))
		}
		b.WriteString("\"/>\n")
	})
}

// bands draws one band of verdicts a mode; each verdict has a height of its own too,
// so that the picture reads without colour.
func (p *Picture) bands(b *bytes.Buffer, c *Case, x func(time.Duration) float64) {
	looks := map[string]struct {
		colour string
		h      float64
	}{"within": {"#2e7d32", 1}, "borderline": {"#f0a030", 0.6}, "outside": {"#b3261e", 0.35}, "unknown": {"#999", 0.15}}
	for i, m := range c.Modes {
		y0 := top + plotH + 30 + float64(i)*(bandH+6)
		fmt.Fprintf(b, `<text x="%g" y="%g" text-anchor="end">%s</text>`+"\n", left-6, y0+bandH-4, m.Name)
		p.verdictRuns(i, func(v string, from, to time.Duration) {
			l := looks[v]
			fmt.Fprintf(b, `<rect x="%.1f" y="%.1f" width="%.2f" height="%.1f" fill="%s"><title>%s</title></rect>`+"\n", x(from),
				y0+bandH*(1-l.h), math.Max(x(to)-x(from), 0.5), bandH*l.h, l.colour, v)
		})
	}
	fmt.Fprintf(b, `<text x="%g" y="%g" fill="#555">red: true error; blue: the station's estimate, with 99 %% bound (dark) and guard (light); bands: within is full height</text>`+"\n",
		left, top+plotH+36+float64(len(c.Modes))*(bandH+6)+10)
}

func (p *Picture) verdictRuns(mode int, f func(v string, from, to time.Duration)) {
	for i := 0; i < len(p.points); {
		k := i
		for k < len(p.points) && p.points[k].verdicts[mode] == p.points[i].verdicts[mode] && (k == i || p.points[k].at-p.points[k-1].at < time.Minute) {
			k++
		}
		f(p.points[i].verdicts[mode], p.points[i].at, p.points[k-1].at+10*time.Second)
		i = k
	}
}

// list marks the events by number in the plot, and names them below.
func (p *Picture) list(b *bytes.Buffer, c *Case, x func(time.Duration) float64) {
	y0 := top + plotH + 60 + float64(len(c.Modes))*(bandH+6)
	for i, m := range p.marks {
		if i == 10 {
			break
		}
		fmt.Fprintf(b, `<path d="M%.1f %gV%g" stroke="#888" stroke-dasharray="2 3"/><text x="%.1f" y="%g" font-size="11">%d</text>`+"\n",
			x(m.at), top, top+plotH, x(m.at)+2, top+11+float64(i%3)*12, i+1)
		fmt.Fprintf(b, `<text x="%g" y="%g" font-size="11">%d  %s  %s</text>`+"\n", left+float64(i%2)*560, y0+float64(i/2)*15, i+1,
			m.at.Truncate(time.Second), html.EscapeString(short(m.text, 78)))
	}
}
