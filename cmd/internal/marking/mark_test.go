package marking

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/marks"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/ask"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/wrap"
	"noonmark/status"
)

// ear is an operator who hears true minutes and taps late by late.
type ear struct {
	n      int
	each   time.Duration
	late   time.Duration
	system time.Duration // the system clock is fast by that
	minute timescale.UTC // of the first tap
}

func (e *ear) sample() hostclock.Pair {
	at := time.Duration(e.n)*e.each + e.late
	e.n++
	return hostclock.Pair{Local: timescale.Local(50e9).Add(at), System: e.minute.Add(at + e.system)}
}

func TestMarkByEar(t *testing.T) {
	minute := timescale.UTCOf(time.Date(2031, 2, 3, 4, 28, 0, 0, time.UTC))
	reacting := 170*time.Millisecond + 52*time.Millisecond + 27*time.Millisecond // person, set, 7834 km
	for _, row := range []struct {
		name    string
		c       cli.Mark
		station string
		system  time.Duration
		late    time.Duration
		typed   string // after the taps
		err     string
		errorS  float64
		utc     timescale.UTC // told to the service; 1 = nothing is told
	}{
		{"BPM sends UT1", cli.Mark{React: true}, "BPM", 0, reacting, "y\n", "UT1", 0, 1},
		{"RWM has a plain carrier", cli.Mark{React: true}, "RWM", 0, reacting, "2031-02-03 04:05\n", "carrier", 0, 1},
		{"he goes away", cli.Mark{React: true}, "WWV", 0, reacting, "", "nothing was marked", 0, 1},
		{"fast", cli.Mark{React: true}, "WWV", 700 * time.Millisecond, reacting, "y\n", "", 0.7, minute},
		{"asked how", cli.Mark{}, "WWV", -3 * time.Second, 50 * time.Millisecond, "\nY\n", "", -3, minute},
		{"minutes", cli.Mark{Beat: true, Minutes: true}, "WWV", 0, 50 * time.Millisecond, "y\n", "", 0, minute},
		{"another day", cli.Mark{React: true}, "WWV", 48 * time.Hour, reacting, "soon\n2031-02-03 04:28\n", "", 48 * 3600, minute},
		{"cannot tell", cli.Mark{React: true}, "RWM", 0, reacting, "?\n", "", 0, 0},
		{"only compared", cli.Mark{React: true, Check: true}, "WWV", 0, reacting, "y\n", "", 0, 1},
	} {
		t.Run(row.name, func(t *testing.T) {
			station, err := marks.Named(row.station)
			if err != nil {
				t.Fatal(err)
			}
			row.c.Taps = 5
			typing := ""
			if !row.c.Beat && !row.c.React {
				typing = "what?\n1\n"
			}
			e := &ear{each: time.Second, late: row.late, system: row.system, minute: minute}
			if row.c.Minutes {
				e.each = time.Minute
			}
			told := timescale.UTC(1)
			var out bytes.Buffer
			m := &marker{ctx: t.Context(), in: ask.New(strings.NewReader(typing + "\n\n\n\n\n" + row.typed)), out: &out, sample: e.sample,
				tell: func(r control.Request) (control.Answer, error) {
					told = r.Mark.UTC
					if d := r.Mark.LocalNS.Sub(50e9).Seconds(); math.Abs(d) > r.Mark.BoundS {
						t.Errorf("the minute is told as %.3f s off, bound %.3f s", d, r.Mark.BoundS)
					}
					return control.Answer{Mark: &control.Marked{Placed: true, Says: &status.Reference{Because: "Agrees."}}}, nil
				}}
			r, err := m.take(row.c, station, 7834)
			if row.err != "" {
				if err == nil || !strings.Contains(err.Error(), row.err) {
					t.Errorf("error %v", err)
				}
			} else if err != nil || math.Abs(r.ErrorS-row.errorS) > r.BoundS || r.BoundS > 0.35 {
				t.Errorf("%+v, %v\n%s", r, err, &out)
			}
			if told != row.utc {
				t.Errorf("told the minute %v, want %v", told.Time(), row.utc.Time())
			}
			for _, line := range strings.Split(out.String(), "\n") {
				if len([]rune(line)) > wrap.Columns {
					t.Errorf("too wide: %s", line)
				}
			}
		})
	}
}

func TestMarkWithoutService(t *testing.T) {
	e := &ear{each: time.Second, minute: timescale.UTCOf(time.Date(2031, 2, 3, 4, 28, 0, 0, time.UTC))}
	for _, row := range []struct {
		err  error
		a    control.Answer
		say  string
		fail bool
	}{
		{control.ErrNoService, control.Answer{}, "No service is running", false},
		{errors.New("denied"), control.Answer{}, "", true},
		{nil, control.Answer{Mark: &control.Marked{}}, "name it", false},
	} {
		var out bytes.Buffer
		m := &marker{ctx: t.Context(), in: ask.New(strings.NewReader("\n\n\n?\n")), out: &out, sample: e.sample,
			tell: func(control.Request) (control.Answer, error) { return row.a, row.err }}
		station, _ := marks.Named("WWV")
		_, err := m.take(cli.Mark{Beat: true, Taps: 3}, station, -1)
		if (err != nil) != row.fail || !strings.Contains(out.String(), row.say) || !strings.Contains(out.String(), "--place") {
			t.Errorf("%v: %v\n%s", row.err, err, &out)
		}
	}
}

// TestWithdraw: what stands without the mark is said; where there is none, so is that.
func TestWithdraw(t *testing.T) {
	for _, row := range []struct {
		name string
		json bool
		a    control.Answer
		err  error
		code int
		says string
	}{
		{"no mark", false, control.Answer{}, errors.New("there is no mark to take back"), 1, ""},
		{"one", false, control.Answer{Done: "Taken back.", Mark: &control.Marked{Because: "By the receiver.", Modes: map[string]string{"FT8": status.Within}}}, nil, 0, "Taken back.\nBy the receiver.\nFT8: Clock good\n"},
		{"for a program", true, control.Answer{Done: "Taken back.", Mark: &control.Marked{}}, nil, 0, `"done":"Taken back."`},
	} {
		var out bytes.Buffer
		m := &marker{ctx: t.Context(), out: &out, tell: func(r control.Request) (control.Answer, error) {
			if r.Do != "withdraw" {
				t.Errorf("%s: asked to %s", row.name, r.Do)
			}
			return row.a, row.err
		}}
		c := cli.Mark{Withdraw: true}
		c.JSON = row.json
		code, err := m.withdraw(c, &out)
		if code != row.code || (err != nil) != (row.err != nil) || !strings.Contains(out.String(), row.says) {
			t.Errorf("%s: %d, %v, %q", row.name, code, err, &out)
		}
	}
}
