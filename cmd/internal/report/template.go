package report

import (
	"errors"
	"fmt"
	"strings"
	"text/template"
)

// mostText is the largest text that a template may make.
const mostText = 64 << 10

// Template is the text by a template of Go's text/template over a Report; n > 0
// limits its length in characters. Of a simulation it always begins with EXERCISE.
func (r *Report) Template(text string, n int) (string, error) {
	t, err := template.New("template").Option("missingkey=error").Parse(text)
	if err != nil {
		return "", fmt.Errorf("report: %w", err)
	}
	var b limited
	if err := t.Execute(&b, r); err != nil {
		return "", fmt.Errorf("report: %w", err)
	}
	out := b.String()
	if r.Exercise && !strings.HasPrefix(out, "EXERCISE") {
		out = "EXERCISE " + out
	}
	if size := len([]rune(strings.TrimRight(out, "\n"))); n > 0 && size > n {
		return "", fmt.Errorf("report: the template's text has %d characters, more than %d: a template is not shortened", size, n)
	}
	return out, nil
}

// limited takes so much text and no more.
type limited struct{ strings.Builder }

var errTooLong = errors.New("the text is too long")

func (l *limited) Write(p []byte) (int, error) {
	if l.Len()+len(p) > mostText {
		return 0, errTooLong
	}
	return l.Builder.Write(p)
}

// Words for templates.

// Date is the day of the report: 2031-02-03.
func (r *Report) Date() string { return r.UTC.V.Time().Format("2006-01-02") }

// Clock is the time of the report, UTC: 04:05:06.
func (r *Report) Clock() string { return r.UTC.V.Time().Format("15:04:05") }

// Degrees is the place in decimal degrees, as fine as the fix: 20.13000 S 67.49000 W.
func (r *Report) Degrees() string { return r.degrees(mostDecimals, " ") }

// Quality says how good the place is: within 10 m, fix of now.
func (r *Report) Quality() string { return r.quality() }

// Way is the way to the named place, "" without one.
func (r *Report) Way() string {
	if r.To == nil {
		return ""
	}
	return r.To.text()
}
