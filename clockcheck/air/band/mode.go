// Package band finds the signals of timed weak-signal modes in received sound, by their
// sync symbols alone: when each begins, at which frequency, how strong it is.
//
// No message is decoded and no call sign is read: between the sync symbols nothing is
// looked at. It is pure: samples in, findings out. Any goroutine may call.
package band

import (
	"fmt"
	"strings"
	"time"
)

// Mode is what must be known of a mode to find its signals. Symbol is in samples of
// sound.Rate, which its symbols fill exactly.
type Mode struct {
	Name   string
	Period time.Duration
	Start  time.Duration // the first sync symbol, after the period's begin
	Doubt  time.Duration // the start may be off by so much, on a punctual station
	Symbol int           // samples; 1 / Symbol is also the spacing of the tones
	Tones  int
	Length int     // symbols from the first sync symbol to the end
	Arrays []array // in order of time
	Source string
}

// array is a row of sync tones that begins at a symbol.
type array struct {
	at    int
	tones []int
}

func (m Mode) spacingHz() float64 { return rate / float64(m.Symbol) }

// alike tells whether all arrays are the same.
func (m Mode) alike() bool { return m.Arrays[0].tones[0] == m.Arrays[1].tones[0] }

const rate = 8000.0

const (
	srcFT8 = "The FT4 and FT8 Communication Protocols, QEX July/August 2020, by way of two public implementations; " +
		"confirmed by the recordings in testdata/air"
	srcFT4 = "the same, not measured on the air: receivers count from 0.500 s, a punctual sender may begin its first " +
		"sync symbol at 0.348 s"
	srcJS8 = "constants read in two public implementations; not measured on the air"
)

var (
	costasFT8 = []array{{0, []int{3, 1, 4, 0, 6, 5, 2}}, {36, []int{3, 1, 4, 0, 6, 5, 2}}, {72, []int{3, 1, 4, 0, 6, 5, 2}}}
	costasJS8 = []array{{0, []int{4, 2, 5, 6, 1, 3, 0}}, {36, []int{4, 2, 5, 6, 1, 3, 0}}, {72, []int{4, 2, 5, 6, 1, 3, 0}}}
	costasJSx = []array{{0, []int{0, 6, 2, 3, 5, 4, 1}}, {36, []int{1, 5, 0, 2, 3, 6, 4}}, {72, []int{2, 5, 0, 6, 4, 1, 3}}}
	arraysFT4 = []array{{0, []int{0, 1, 3, 2}}, {33, []int{1, 0, 2, 3}}, {66, []int{2, 3, 1, 0}}, {99, []int{3, 2, 0, 1}}}
)

const ms = time.Millisecond

var modes = [...]Mode{
	{"FT8", 15000 * ms, 500 * ms, 0, 1280, 8, 79, costasFT8, srcFT8},
	{"FT4", 7500 * ms, 500 * ms, 152 * ms, 384, 4, 103, arraysFT4, srcFT4},
	{"JS8-30", 30000 * ms, 500 * ms, 0, 2560, 8, 79, costasJSx, srcJS8},
	{"JS8-15", 15000 * ms, 500 * ms, 0, 1280, 8, 79, costasJS8, srcJS8},
	{"JS8-10", 10000 * ms, 200 * ms, 0, 800, 8, 79, costasJSx, srcJS8},
	{"JS8-6", 6000 * ms, 100 * ms, 0, 400, 8, 79, costasJSx, srcJS8},
}

// Modes returns the modes whose signals can be found.
func Modes() []Mode { return append([]Mode(nil), modes[:]...) }

// ModeNamed finds a mode; upper and lower case are the same.
func ModeNamed(name string) (Mode, error) {
	var names []string
	for _, m := range modes {
		if strings.EqualFold(m.Name, name) {
			return m, nil
		}
		names = append(names, m.Name)
	}
	return Mode{}, fmt.Errorf("band: signals of %q cannot be found by their sync; those of %s can", name, strings.Join(names, ", "))
}

// Sync gives the tone of each symbol, −1 where the message is: for simulated signals.
func (m Mode) Sync() []int {
	out := make([]int, m.Length)
	for i := range out {
		out[i] = -1
	}
	for _, a := range m.Arrays {
		for k, tone := range a.tones {
			out[a.at+k] = tone
		}
	}
	return out
}
