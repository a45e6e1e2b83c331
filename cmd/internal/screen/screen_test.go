package screen

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"pgregory.net/rapid"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

var usual = Size{80, 24}

// camp is a snapshot of a good night, and a reader half a second later.
func camp() (status.Snapshot, status.Now) {
	at := timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 6, 250e6, time.UTC))
	k := status.Known
	s := status.Snapshot{Schema: status.SchemaName, Live: true,
		Written: status.Written{SystemUTC: status.At(at), BootID: "b", BoottimeS: 800, StaleAfterS: 3},
		Clock: status.Clock{Basis: status.BasisGNSS, ErrorS: k(1.012), BoundS: k(0.05), GuardS: k(0.08), Steering: "slewing",
			Because: "By the receiver the clock is 0.012 s fast."},
		Modes: []status.Mode{
			{Mode: "FT8", InUse: true, PeriodS: 15, ToleranceS: 2, Verdict: status.Within, MarginS: k(0.9), GoodForS: k(190494)},
			{Mode: "FT4", PeriodS: 7.5, ToleranceS: 0.5, Verdict: status.Outside, MarginS: k(-0.6)}},
		Position: &status.Position{Locator: "FG69gu18", LatDeg: k(-20.13), LonDeg: k(-67.49), BoundM: k(9), Fix: "3d", Satellites: k(11)},
		References: []status.Reference{{Name: "receiver", Kind: "gnss", Trust: status.Trusted, Because: "Valid."},
			{Name: "hardware clock", Kind: "rtc", Trust: status.Doubted, Because: "Set."}}}
	return s, status.Now{BootID: "b", BoottimeS: 800.5, System: at.Add(500 * time.Millisecond)}
}

func text(lines []Line) string {
	var b strings.Builder
	for _, l := range lines {
		b.WriteString(l.Text + "\n")
	}
	return b.String()
}

// largeText is what the large letters of a picture read, by their shapes.
func largeText(lines []Line, word string) bool {
	rows := letters(word)
	for i := range lines {
		if i+5 > len(lines) {
			return false
		}
		hit := true
		for k := range rows {
			hit = hit && strings.Contains(lines[i+k].Text, strings.TrimRight(rows[k], " "))
		}
		if hit {
			return true
		}
	}
	return false
}

func TestPicture(t *testing.T) {
	for _, row := range []struct {
		name    string
		change  func(*status.Snapshot, *status.Now)
		problem string
		word    string
		want    []string
		not     []string
	}{
		{"bad: no status", nil, "Nothing to go by: no status is published.", "NO CONTACT", []string{"Do not key up", "no status is published", "by the system clock"}, []string{"within", "FG69"}},
		{"bad: old", func(s *status.Snapshot, n *status.Now) { n.BoottimeS += 10 }, "", "NO CONTACT", []string{"has stopped or hangs"}, []string{"within", "FG69"}},
		{"bad: another boot", func(s *status.Snapshot, n *status.Now) { n.BootID = "c" }, "", "NO CONTACT", []string{"before the computer was last started"}, []string{"within"}},
		{"bad: simulation", func(s *status.Snapshot, n *status.Now) { s.Live = false }, "", "DEMO", []string{"In the simulation: CLOCK GOOD, FT8", " SIMULATION: this is not this computer's clock.##"}, nil},
		{"bad: stepped since", func(s *status.Snapshot, n *status.Now) { n.System = n.System.Add(5 * time.Second) }, "", "CLOCK WRONG", []string{"FT8: do not key up"}, []string{"good for"}},
		{"bad: no mode in use, one is not within", func(s *status.Snapshot, n *status.Now) { s.Modes[0].InUse = false }, "", "CLOCK WRONG", []string{"FT4: do not key up", "Next: "}, nil},
		{"bad: borderline", func(s *status.Snapshot, n *status.Now) { s.Modes[0].Verdict = status.Borderline }, "", "NOT SURE", []string{"FT8: do not key up"}, nil},
		{"bad: unknown", func(s *status.Snapshot, n *status.Now) { s.Modes[0].Verdict = status.Unknown }, "", "NO TIME", []string{"FT8: do not key up"}, nil},
		{"bad: no fix ever", func(s *status.Snapshot, n *status.Now) { s.Position = nil }, "", "CLOCK GOOD", []string{"no satellite fix yet"}, nil},
		{"bad: hostile names", func(s *status.Snapshot, n *status.Now) { s.References[0].Name = "\x1b[2Jx" }, "", "CLOCK GOOD", []string{"?[2Jx"}, []string{"\x1b"}},
		{"good", nil, "", "CLOCK GOOD", []string{"2031-02-03  04:05:05 UTC", "FT8", "good for 2 d 4 h", "FT4", "1.012 s fast", "± 0.052 s (99 %), worst case 0.082 s", "Nothing is to be done", "the satellite receiver", "slewing",
			"FG69gu18", "11 satellites", "trusted receiver", "doubted hardware clock", "q quits"}, []string{"do not key up", "by the system clock"}},
	} {
		s, now := camp()
		if row.change != nil {
			row.change(&s, &now)
		}
		lines := Picture(s, now, row.problem, usual)
		got := text(lines)
		if len(lines) != 24 || !largeText(lines, row.word) {
			t.Errorf("%s: %d lines, not %q:\n%s", row.name, len(lines), row.word, got)
		}
		for _, w := range row.want {
			if !strings.Contains(got, w) {
				t.Errorf("%s: no %q in\n%s", row.name, w, got)
			}
		}
		for _, w := range row.not {
			if strings.Contains(got, w) {
				t.Errorf("%s: %q in\n%s", row.name, w, got)
			}
		}
	}
}

// Whatever the size, nothing stands outside it.
func TestPictureFits(t *testing.T) {
	s, now := camp()
	for range 20 {
		s.References = append(s.References, s.References[0])
	}
	s.Modes[0].Mode = strings.Repeat("long", 40)
	for _, size := range []Size{{0, 0}, {1, 1}, {20, 5}, {40, 12}, usual, {200, 60}} {
		lines := Picture(s, now, "", size)
		if len(lines) != size.Lines {
			t.Errorf("%+v: %d lines", size, len(lines))
		}
		for _, l := range lines {
			if utf8.RuneCountInString(l.Text) > size.Columns {
				t.Errorf("%+v: %q", size, l.Text)
			}
		}
	}
}

// Every word that can be written large has its shapes and fits the usual width.
func TestLargeWords(t *testing.T) {
	all := []string{"DEMO", strings.ToUpper(status.NoContact)}
	for _, v := range []string{status.Within, status.Borderline, status.Outside, status.Unknown} {
		all = append(all, strings.ToUpper(status.Heading(v)))
	}
	for _, w := range all {
		for _, r := range w {
			if _, ok := shapes[r]; !ok {
				t.Errorf("%s: no shape for %q", w, r)
			}
		}
		for _, row := range letters(w) {
			if len(row) > 80 {
				t.Errorf("%s: %d columns", w, len(row))
			}
		}
	}
	for r, s := range shapes {
		for _, row := range s {
			if len(row) != 5 {
				t.Errorf("%q: %q", r, row)
			}
		}
	}
}

// terminal is as much of a terminal as the painter needs.
type terminal struct {
	rows     [][]rune
	row, col int
	bytes    int
}

var sequence = regexp.MustCompile(`^\x1b\[(\??[0-9;]*)([A-Za-z])`)

func (m *terminal) Write(b []byte) (int, error) {
	m.bytes += len(b)
	for s := string(b); s != ""; {
		if q := sequence.FindStringSubmatch(s); q != nil {
			m.control(q[1], q[2])
			s = s[len(q[0]):]
			continue
		}
		r, n := utf8.DecodeRuneInString(s)
		if r < ' ' {
			return 0, fmt.Errorf("control character %q", r)
		}
		m.rows[m.row][m.col] = r
		m.col++
		s = s[n:]
	}
	return len(b), nil
}

func (m *terminal) control(arg, what string) {
	switch what {
	case "H":
		r, c, _ := strings.Cut(arg, ";")
		m.row, _ = strconv.Atoi(r)
		m.col, _ = strconv.Atoi(c)
		m.row, m.col = m.row-1, m.col-1
	case "J":
		for _, r := range m.rows {
			for i := range r {
				r[i] = ' '
			}
		}
	case "K":
		for i := m.col; i < len(m.rows[m.row]); i++ {
			m.rows[m.row][i] = ' '
		}
	}
}

func newTerminal(size Size) *terminal {
	m := &terminal{}
	for range size.Lines {
		m.rows = append(m.rows, []rune(strings.Repeat("x", size.Columns+1)))
	}
	return m
}

// Law: after any pictures the terminal shows the last one.
func TestPainterLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		size := Size{12, 4}
		m := newTerminal(size)
		p, err := NewPainter(m)
		if err != nil {
			t.Fatal(err)
		}
		for range rapid.IntRange(1, 6).Draw(t, "pictures") {
			lines := make([]Line, size.Lines)
			for i := range lines {
				lines[i] = Line{Text: rapid.StringMatching(`[ab±]{0,12}`).Draw(t, "text"), Bold: rapid.Bool().Draw(t, "bold"), Loud: rapid.Bool().Draw(t, "loud")}
			}
			if err := p.Paint(lines, size); err != nil {
				t.Fatal(err)
			}
			for i, l := range lines {
				if got := strings.TrimRight(string(m.rows[i]), " "); got != l.Text {
					t.Fatalf("line %d shows %q, want %q", i, got, l.Text)
				}
			}
		}
	})
}

// A quiet hour costs a slow line little: 300 baud carry 30 bytes a second.
func TestFewBytes(t *testing.T) {
	m := newTerminal(usual)
	p, err := NewPainter(m)
	if err != nil {
		t.Fatal(err)
	}
	s, now := camp()
	if err := p.Paint(Picture(s, now, "", usual), usual); err != nil {
		t.Fatal(err)
	}
	m.bytes = 0
	const seconds = 3600
	for n := range seconds {
		s.Written.BoottimeS++
		s.Written.SystemUTC = status.At(s.Written.SystemUTC.V.Add(time.Second))
		now.BoottimeS++
		now.System = now.System.Add(time.Second)
		s.Modes[0].GoodForS.V--
		s.Clock.ErrorS = status.Known(1.012 + 0.0004*float64(n%5))
		if err := p.Paint(Picture(s, now, "", usual), usual); err != nil {
			t.Fatal(err)
		}
	}
	per := float64(m.bytes) / seconds
	t.Logf("%.1f bytes a second", per)
	if per > 30 || per < 5 {
		t.Errorf("%.1f bytes a second", per)
	}
}
