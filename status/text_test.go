package status

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

var update = flag.Bool("update", false, "rewrite the golden texts")

func TestTexts(t *testing.T) {
	demo := full()
	demo.Live = false
	demo.Clock.ErrorS, demo.Clock.BoundS, demo.Clock.GuardS, demo.Clock.Basis = Known(0.0000031), Known(0.0000012), Known(0.0000044), BasisPPS
	hostile := full()
	hostile.Receiver.Identity = "\x1b[2Jcleared\nREADY: yes\u202e" + strings.Repeat("long", 40)
	hostile.References[0].Because = strings.Repeat("word ", 60)
	ready := func(s Snapshot, now Now, modes ...string) string {
		r, err := Ready(s, now, modes)
		if err != nil {
			t.Fatal(err)
		}
		return r.Text()
	}
	for name, got := range map[string]string{
		"headline":      full().Text(),
		"headline-none": least().Text(),
		"why":           full().Why(),
		"why-none":      least().Why(),
		"why-demo":      demo.Why(),
		"why-hostile":   hostile.Why(),
		"ready-yes":     ready(full(), after(full(), 1, 0)),
		"ready-no":      ready(full(), after(full(), 1, 0), "FT8", "FT4", "JS8-6", "WSPR"),
		"ready-stepped": ready(full(), after(full(), 1, 2)),
		"ready-stale":   ready(full(), after(full(), 600, 0), "FT8"),
	} {
		path := filepath.Join("testdata", name+".golden")
		if *update {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s: got\n%s\nwant\n%s", name, got, want)
		}
		for _, line := range strings.Split(got, "\n") {
			if utf8.RuneCountInString(line) > 80 || line != strings.TrimRight(line, " ") {
				t.Errorf("%s: over 80 columns, or blanks at the end: %q", name, line)
			}
		}
	}
}

func TestPast(t *testing.T) {
	for _, tt := range []struct {
		p    Position
		want string
	}{
		{Position{}, "fix of unknown age"}, {Position{AgeS: Known(14)}, ""}, {Position{AgeS: Known(15)}, "fix 15 s old"},
		{Position{Kept: true}, "from before noonmark started, nobody knows how long ago"},
		{Position{Kept: true, AgeS: Known(18300)}, "from before noonmark started, 5 h 5 min ago"},
	} {
		if got := tt.p.Past(); got != tt.want {
			t.Errorf("%+v: %q, want %q", tt.p, got, tt.want)
		}
	}
}

func TestSpan(t *testing.T) {
	for _, tt := range []struct {
		in   float64
		want string
	}{
		{-1, "0 s"}, {0.04, "0.0 s"}, {9.96, "10 s"}, {119, "119 s"}, {120, "2 min"}, {7199, "119 min"}, {7200, "2 h"},
		{7260, "2 h 1 min"}, {172799, "47 h 59 min"}, {190494, "2 d 4 h"}, {1e300, "more than 30 years"},
	} {
		if got := Span(tt.in); got != tt.want {
			t.Errorf("%g: got %q, want %q", tt.in, got, tt.want)
		}
	}
}

func TestNum(t *testing.T) {
	for _, tt := range []struct {
		in   float64
		want string
	}{
		{0, "0.000"}, {-1e-9, "0.000"}, {-0.012, "-0.012"}, {0.0000031, "0.000003"}, {-0.0004, "-0.000400"},
		{99.99, "99.990"}, {3600.2, "3600"}, {-619315200, "-619315200"}, {1e300, "1e+300"},
	} {
		if got := Number(tt.in); got != tt.want {
			t.Errorf("%g: got %q, want %q", tt.in, got, tt.want)
		}
	}
}
