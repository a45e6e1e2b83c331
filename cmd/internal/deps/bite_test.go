package deps

import (
	"slices"
	"strings"
	"testing"
)

// TestRulesBite holds made-up sources against the rules: those that break one are
// refused, their lawful neighbours are not.
func TestRulesBite(t *testing.T) {
	const gnss, station = `import "noonmark/gnss"`, `import "noonmark/cmd/internal/station"`
	for _, tt := range []struct {
		file, body string
		rule       func(source) []string
		want       []string
	}{
		{"rtc/x.go", gnss, star, []string{"imports noonmark/gnss"}},
		{"rtc/x_linux.go", gnss, star, []string{"imports noonmark/gnss"}},
		{"gnss/port/x.go", `import g "noonmark/gnss"`, star, []string{"imports noonmark/gnss"}},
		{"rtc/rtctest/x.go", gnss, star, []string{"imports noonmark/gnss"}},
		{"grid/x.go", station, star, []string{"imports noonmark/cmd/internal/station"}},
		{"status/x.go", `import _ "noonmark/clockcheck"`, star, []string{"imports noonmark/clockcheck"}},
		{"status/x.go", `import "noonmark/clockcheck/timescale/x"`, star, []string{"imports noonmark/clockcheck/timescale/x"}},
		{"clockcheck/x.go", `import "noonmark/clockcheck/netref"`, star, []string{"imports noonmark/clockcheck/netref"}},
		{"clockcheck/timescale/x.go", `import "noonmark/clockcheck/timescale"`, star, []string{"imports noonmark/clockcheck/timescale"}},
		{"clockcheck/x.go", `import "noonmark/clockcheck/bank"`, star, []string{"imports noonmark/clockcheck/bank"}},
		{"clockcheck/estimate/x.go", `import "noonmark/clockcheck/bank"`, star, []string{"imports noonmark/clockcheck/bank"}},
		{"clockcheck/bank/x.go", `import "noonmark/clockcheck/source/rtc"`, star, []string{"imports noonmark/clockcheck/source/rtc"}},
		{"util/x.go", ``, star, []string{"lies in a folder that the rules do not know"}},
		{"clockcheck/x.go", `import ("time"; "noonmark/clockcheck/thermal"; "noonmark/clockcheck/timescale")`, star, nil},
		{"rtc/rtctest/x.go", `import "noonmark/rtc"`, star, nil},
		{"gnss/gnsstest/x.go", gnss, star, nil},
		{"gnss/x_test.go", `import "noonmark/gnss/gnsstest"`, star, nil},
		{"cmd/internal/station/x.go", gnss, star, nil},

		{"grid/x.go", strings.Repeat("\n", 301), sizes, []string{"has 301 lines, 300 are the most: split it by subject"}},
		{"grid/x.go", strings.Repeat("\n", 300), sizes, nil},
		{"grid/x_test.go", strings.Repeat("\n", 300), sizes, nil},
		{"grid/x.go", "func f() {" + strings.Repeat("\n", 60) + "}", sizes, []string{"f has 61 lines, 60 are the most"}},
		{"grid/x.go", "func f() {" + strings.Repeat("\n", 59) + "}", sizes, nil},

		{"grid/x.go", `import "time"; var a = time.Now()`, clocks, []string{"uses time.Now"}},
		{"grid/x.go", `import t "time"; var a = t.Now`, clocks, []string{"uses time.Now"}},
		{"gnss/x.go", `import . "time"; var a = Now()`, clocks, []string{"imports time with a dot"}},
		{"status/x_linux.go", `import "time"; func f() { time.Sleep(1) }`, clocks, []string{"uses time.Sleep"}},
		{"cmd/internal/world/x.go", `import "time"; func f(t time.Time) { <-time.After(1); _ = time.Since(t) }`, clocks,
			[]string{"uses time.After", "uses time.Since"}},
		{"rtc/x.go", `import "time"; var a = time.NewTicker(1)`, clocks, []string{"uses time.NewTicker"}},
		{"status/x.go", `import "golang.org/x/sys/unix"; var a = unix.ClockGettime`, clocks,
			[]string{"uses golang.org/x/sys/unix.ClockGettime"}},
		{"status/x_linux.go", `import "golang.org/x/sys/unix"; var a = unix.ClockGettime`, clocks, nil},
		{"rtc/x_linux.go", `import "time"; func f() { time.Sleep(1) }`, clocks, nil},
		{"gnss/port/x.go", `import "time"; var a = time.Now()`, clocks, nil},
		{"grid/x_test.go", `import "time"; var a = time.Now()`, clocks, nil},
		{"grid/x.go", `import "time"; var a = time.Unix(0, 0); func f(s struct{ Now int }) int { return s.Now }`, clocks, nil},

		{"clockcheck/x.go", `func f() { go f() }`, machine, []string{"starts a goroutine"}},
		{"cmd/internal/station/x.go", `func f() { func() { go f() }() }`, machine, []string{"starts a goroutine"}},
		{"clockcheck/netref/x.go", `func f() { go f() }`, machine, nil},

		{"gnss/port/x.go", `import "go.bug.st/serial/enumerator"`, enumerator, []string{"imports go.bug.st/serial/enumerator"}},
		{"gnss/port/x_test.go", `import _ "go.bug.st/serial/enumerator"`, enumerator, []string{"imports go.bug.st/serial/enumerator"}},
		{"cmd/noonmark/x.go", `import s "go.bug.st/serial"; var a, b = s.GetPortsList()`, enumerator,
			[]string{"uses go.bug.st/serial.GetPortsList"}},
		{"gnss/port/x.go", `import "go.bug.st/serial"; var a, b = serial.Open("", nil)`, enumerator, nil},
	} {
		got := tt.rule(parse(t, tt.file, "package x; "+tt.body))
		if !slices.Equal(got, tt.want) {
			t.Errorf("%s: %s: got %q, want %q", tt.file, tt.body, got, tt.want)
		}
	}
}
