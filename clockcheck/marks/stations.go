// Package marks turns an operator's taps on the tones of a radio time signal into one
// mark with an honest bound. It knows the stations, how long their signal is on its way,
// and how early or late people tap.
//
// It is pure: instants come in as arguments. Any goroutine may call.
package marks

import (
	"fmt"
	"strings"
)

// Station is a radio time signal that can be heard on a short-wave set.
type Station struct {
	Name           string
	Place          string
	LatDeg, LonDeg float64
	KHz            []int
	Tone           string // how the full minute sounds
	SaysTime       bool   // it says what time it is; else the minute must be known besides
	Source         string // how this is known
	minutes        []span // the minutes of the hour that begin with a mark of UTC; nil = all
	others         []refusal
}

// span is minutes from ≤ m ≤ to.
type span struct{ from, to int }

type refusal struct {
	span
	why string
}

const (
	srcText   = "published tables, read in copies; format from memory"
	srcMemory = "from memory"
)

// stations are those whose place and minute mark are known. Whether one is on the air,
// and when, changes: listen.
var stations = [...]Station{
	{"WWV", "Fort Collins, Colorado", 40.68028, -105.04083, []int{2500, 5000, 10000, 15000, 20000},
		"0.8 s of 1000 Hz (on the hour 1500 Hz), after a man's voice", true, srcText, nil, nil},
	{"WWVH", "Kauai, Hawaii", 21.98778, -159.76667, []int{2500, 5000, 10000, 15000},
		"0.8 s of 1200 Hz (on the hour 1500 Hz), after a woman's voice", true, srcText, nil, nil},
	{"CHU", "Ottawa", 45.29481, -75.75786, []int{3330, 7850, 14670},
		"0.5 s of 1000 Hz (on the hour 1 s), after a voice", true, srcText, nil, nil},
	{"RWM", "Taldom, Moscow region", 56.73, 37.63, []int{4996, 9996, 14996}, // there since 2008
		"0.5 s of carrier, heard with the beat oscillator", false, srcText,
		[]span{{10, 29}, {40, 59}}, []refusal{{span{0, 59}, "it sends a plain carrier or its name"}}},
	{"BPM", "Pucheng, Shaanxi", 34.949, 109.543, []int{2500, 5000, 10000, 15000},
		"0.3 s of 1000 Hz", true, srcText,
		[]span{{0, 9}, {15, 24}, {30, 39}, {45, 54}},
		[]refusal{{span{25, 29}, "it sends UT1, not UTC"}, {span{55, 59}, "it sends UT1, not UTC"}, {span{0, 59}, "it sends a plain carrier"}}},
	{"HLA", "Daejeon", 36.383, 127.367, []int{5000}, "a longer tone of about 1800 Hz", true, srcMemory, nil, nil},
	{"LOL", "Buenos Aires", -34.617, -58.35, []int{10000}, "a longer tone of 1000 Hz", true, srcMemory, nil, nil},
}

// Stations returns the list, a copy of its own at each call.
func Stations() []Station { return append([]Station(nil), stations[:]...) }

// Named finds a station; upper and lower case are the same. The error lists those that
// there are.
func Named(name string) (Station, error) {
	var names []string
	for _, s := range stations {
		if strings.EqualFold(s.Name, strings.TrimSpace(name)) {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Station{}, fmt.Errorf("marks: no time signal is called %q; there are %s", name, strings.Join(names, ", "))
}

// Minute tells whether the tone that begins a minute of the hour, 0 to 59, marks UTC.
// The error says what the station sends instead, and when it does mark UTC.
func (s *Station) Minute(m int) error {
	if s.minutes == nil {
		return nil
	}
	var good []string
	for _, r := range s.minutes {
		if r.from <= m && m <= r.to {
			return nil
		}
		good = append(good, fmt.Sprintf("%d–%d", r.from, r.to))
	}
	for _, r := range s.others {
		if r.from <= m && m <= r.to {
			return fmt.Errorf("marks: %s is no mark at minute %d of the hour: %s; use minutes %s", s.Name, m, r.why, strings.Join(good, ", "))
		}
	}
	return nil
}
