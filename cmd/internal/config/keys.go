package config

import (
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"strconv"
	"strings"
)

// A setter checks a value and puts it in its place. Its error goes on after the
// key's name: "must be …".
type setter func(v any) error

// keys is every key there is.
func (c *Config) keys(mode ModeCheck) map[string]setter {
	all := c.others()
	maps.Copy(all, map[string]setter{
		"receiver.device":    text(&c.Receiver.Device, device),
		"receiver.baud":      whole(&c.Receiver.Baud, baud),
		"receiver.pps":       text(&c.Receiver.PPS, pathOr("auto", "none")),
		"receiver.pps_edge":  text(&c.Receiver.PPSEdge, oneOf("assert", "clear", "")),
		"receiver.latency_s": number(&c.Receiver.LatencyS, 0, 2, "s (0 = learn it)"),
		"receiver.share_tcp": text(&c.Receiver.ShareTCP, address),
		"receiver.share_udp": text(&c.Receiver.ShareUDP, destination),
		"receiver.share_pty": text(&c.Receiver.SharePTY, pathOr("")),
		"rtc.device":         text(&c.RTC.Device, pathOr("auto", "none")),
		"network.servers":    texts(&c.Network.Servers, server),
		"clock.steer":        boolean(&c.Clock.Steer),
		// Below a hundredth the clock would be stepped all the time; above a
		// minute it would be slewed for more than a day (500 ppm).
		"clock.step_over_s":      number(&c.Clock.StepOverS, 0.01, 60, "s"),
		"clock.vouch":            boolean(&c.Clock.Vouch),
		"clock.thermometer":      text(&c.Clock.Thermometer, pathOr("auto", "none")),
		"modes.in_use":           text(&c.Modes.InUse, optional(mode)),
		"modes.show":             texts(&c.Modes.Show, func(s string) (string, error) { return named(mode, s) }),
		"modes.tolerance_s":      tolerances(&c.Modes.ToleranceS, mode),
		"report.place":           text(&c.Report.Place, somewhere),
		"report.name":            text(&c.Report.Name, word),
		"publish.http":           text(&c.Publish.HTTP, address),
		"publish.time_service":   text(&c.Publish.TimeService, address),
		"publish.locator_length": whole(&c.Publish.LocatorLength, locatorLength),
		"record.folder":          text(&c.Record.Folder, pathOr("memory", "none")),
		"record.most_mb":         whole(&c.Record.MostMB, megabytes),
	})
	return all
}

// withdrawn are the keys of earlier versions: a file that names one is read all the same.
var withdrawn = map[string]string{
	"clock.judge": "sets nothing any more, for one judge is left, the bank of explanations: take the line out",
}

// wrongType says what was wanted and what is there.
func wrongType(want string, v any) error {
	got := "something else"
	switch v := v.(type) {
	case string:
		got = "the text " + strconv.Quote(v)
	case int64:
		got = fmt.Sprintf("the number %d", v)
	case float64:
		got = fmt.Sprintf("the number %g", v)
	case bool:
		got = fmt.Sprint(v)
	case []any:
		got = "a list"
	case map[string]any, []map[string]any:
		got = "a group of keys"
	}
	return fmt.Errorf("must be %s, but is %s", want, got)
}

func text(dst *string, check func(string) (string, error)) setter {
	return func(v any) error {
		s, ok := v.(string)
		if !ok {
			return wrongType(`text in quotes ("…")`, v)
		}
		s, err := check(s)
		if err == nil {
			*dst = s
		}
		return err
	}
}

func whole(dst *int, check func(int64) error) setter {
	return func(v any) error {
		n, ok := v.(int64)
		if !ok {
			return wrongType("a whole number", v)
		}
		if err := check(n); err != nil {
			return err
		}
		*dst = int(n)
		return nil
	}
}

// float takes 1 as well as 1.0.
func float(v any) (float64, bool) {
	switch v := v.(type) {
	case float64:
		return v, !math.IsNaN(v)
	case int64:
		return float64(v), true
	}
	return 0, false
}

func number(dst *float64, low, high float64, unit string) setter {
	return func(v any) error {
		f, ok := float(v)
		if !ok {
			return wrongType("a number", v)
		}
		if f < low || f > high {
			return fmt.Errorf("must be from %g to %g %s, but is %g", low, high, unit, f)
		}
		*dst = f
		return nil
	}
}

func boolean(dst *bool) setter {
	return func(v any) error {
		b, ok := v.(bool)
		if !ok {
			return wrongType("true or false", v)
		}
		*dst = b
		return nil
	}
}

func texts(dst *[]string, check func(string) (string, error)) setter {
	return func(v any) error {
		l, ok := v.([]any)
		if !ok {
			return wrongType(`a list of texts (["…", "…"])`, v)
		}
		out := make([]string, 0, len(l))
		seen := map[string]bool{}
		for i, e := range l {
			var s string
			if err := text(&s, check)(e); err != nil {
				return fmt.Errorf("item %d %w", i+1, err)
			}
			if seen[s] {
				return fmt.Errorf("names %q twice", s)
			}
			seen[s] = true
			out = append(out, s)
		}
		*dst = out
		return nil
	}
}

// maxToleranceS stops a slip of the decimal point: no timed mode works with a
// clock ten seconds off.
const maxToleranceS = 10

func tolerances(dst *map[string]float64, mode ModeCheck) setter {
	return func(v any) error {
		m, ok := v.(map[string]any)
		if !ok {
			return wrongType("a group like { FT8 = 0.5 }", v)
		}
		out := map[string]float64{}
		for name, v := range m {
			proper, err := named(mode, name)
			if err != nil {
				return err
			}
			if _, twice := out[proper]; twice {
				return fmt.Errorf("names %q twice", proper)
			}
			f, ok := float(v)
			if !ok {
				return fmt.Errorf("of %s %w", name, wrongType("a number", v))
			}
			if f <= 0 || f > maxToleranceS {
				return fmt.Errorf("of %s must be over 0 and at most %d s, but is %g", name, maxToleranceS, f)
			}
			out[proper] = f
		}
		*dst = out
		return nil
	}
}

// named gives the proper spelling of a mode's name.
func named(mode ModeCheck, name string) (string, error) {
	proper, err := mode(name)
	if err != nil {
		return "", fmt.Errorf("names a mode that is not known: %w", err)
	}
	return proper, nil
}

func optional(mode ModeCheck) func(string) (string, error) {
	return func(s string) (string, error) {
		if s == "" {
			return "", nil
		}
		return named(mode, s)
	}
}

func oneOf(words ...string) func(string) (string, error) {
	return func(s string) (string, error) {
		quoted := make([]string, len(words))
		for i, w := range words {
			if s == w {
				return s, nil
			}
			quoted[i] = strconv.Quote(w)
		}
		return "", fmt.Errorf("must be one of %s, but is %q", strings.Join(quoted, ", "), s)
	}
}

// pathOr takes an absolute path, or one of words.
func pathOr(words ...string) func(string) (string, error) {
	return func(s string) (string, error) {
		if filepath.IsAbs(s) && !strings.ContainsRune(s, 0) {
			return s, nil
		}
		if _, err := oneOf(words...)(s); err != nil {
			return "", fmt.Errorf("%w; or a path that begins with /", err)
		}
		return s, nil
	}
}

// baud takes the speeds that receivers use.
func baud(n int64) error {
	switch n {
	case 0, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600:
		return nil
	}
	return fmt.Errorf("must be 0 (find it) or a usual speed, such as 4800, 9600, 38400 or 115200 baud, but is %d", n)
}

func locatorLength(n int64) error {
	if n < 2 || n > 10 || n%2 != 0 {
		return fmt.Errorf("must be 2, 4, 6, 8 or 10 characters, but is %d", n)
	}
	return nil
}

// megabytes is the bound of a record: a night takes about 6 MB.
func megabytes(n int64) error {
	if n < 1 || n > 4096 {
		return fmt.Errorf("must be from 1 to 4096 MB, but is %d", n)
	}
	return nil
}
