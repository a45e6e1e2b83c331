package clockcheck

import (
	"fmt"
	"sort"
	"strings"
	"time"
)

// Mode is a timed weak-signal mode: what its period asks of a clock.
type Mode struct {
	Name      string        // as operators write it, e.g. "FT8"
	Period    time.Duration // length of a transmit/receive period
	Offset    time.Duration // start of the transmission within the period
	Length    time.Duration // length of the transmission; Offset+Length..Period is the gap
	Tolerance time.Duration // largest |clock error| the mode works with: advice, changeable
	Source    string        // how the numbers are known
}

// Sources of the table. Periods and lengths follow from published symbol counts
// and symbol lengths. No tolerance is a published limit: the trade works with
// these values.
const (
	srcFT = "The FT4 and FT8 Communication Protocols, QEX July/August 2020; tolerance: common practice, no source"
	srcJT = "The JT65 Communications Protocol, QEX September/October 2005; tolerance: common practice, no source"
	srcWS = "WSPRing Around the World, QST November 2010; tolerance: common practice, no source"
	srcMS = "The MSK144 Protocol for Meteor-Scatter Communication, QEX 2017; tolerance: common practice, no source"
	srcCP = "common practice, no source; from memory"
	srcJS = "constants read in two public implementations, not measured on the air; tolerance: common practice, no source"
)

// modes is ordered by how often portable stations use them.
var modes = [...]Mode{
	mode("FT8", 15, 0.5, 79*0.160, 1.0, srcFT),
	mode("FT4", 7.5, 0.5, 105*0.048, 0.5, srcFT),
	mode("JS8-30", 30, 0.5, 79*0.320, 1.0, srcJS),
	mode("JS8-15", 15, 0.5, 79*0.160, 1.0, srcJS),
	mode("JS8-10", 10, 0.2, 79*0.100, 0.5, srcJS),
	mode("JS8-6", 6, 0.1, 79*0.050, 0.3, srcJS),
	mode("WSPR", 120, 1, 162*8192.0/12000, 1.0, srcWS),
	mode("JT65", 60, 1, 126*4096.0/11025, 1.0, srcJT),
	mode("JT9", 60, 1, 85*0.576, 1.0, srcCP),
	mode("FST4-15", 15, 0.5, 160*0.060, 0.5, srcCP),
	mode("FST4-60", 60, 1, 160*0.324, 1.0, srcCP),
	mode("FST4-120", 120, 1, 160*0.683, 1.0, srcCP),
	mode("FST4-300", 300, 1, 160*1.792, 1.0, srcCP),
	mode("Q65-15", 15, 0.5, 85*0.150, 0.5, srcCP),
	mode("Q65-30", 30, 0.5, 85*0.300, 0.5, srcCP),
	mode("Q65-60", 60, 1, 85*0.600, 1.0, srcCP),
	mode("MSK144", 15, 0, 15, 1.0, srcMS),
}

func mode(name string, period, offset, length, tolerance float64, source string) Mode {
	d := func(s float64) time.Duration { return time.Duration(s * 1e9) }
	return Mode{name, d(period), d(offset), d(length), d(tolerance), source}
}

// Modes returns the tolerance table, a copy of its own at each call.
func Modes() []Mode { return append([]Mode(nil), modes[:]...) }

// ModeNamed finds a mode by name; upper and lower case are the same. The error
// suggests what may be meant, or lists the names there are.
func ModeNamed(name string) (Mode, error) {
	var names, family []string
	for _, m := range modes {
		if strings.EqualFold(m.Name, name) {
			return m, nil
		}
		names = append(names, m.Name)
		if of, _, _ := strings.Cut(m.Name, "-"); strings.EqualFold(of, name) {
			family = append(family, m.Name)
		}
	}
	if len(family) > 0 {
		return Mode{}, fmt.Errorf("clockcheck: %q is a family of modes with different periods: name one of %s", name, strings.Join(family, ", "))
	}
	sort.Strings(names)
	return Mode{}, fmt.Errorf("clockcheck: no timed mode is called %q; there are %s", name, strings.Join(names, ", "))
}
