package signal

import (
	"math"
	"slices"
	"time"
)

// Station is a time-signal station as it was heard.
type Station struct {
	Name    string
	SecondS float64   // the begin of a second, 0 to 1 s after the first sample
	Second  bool      // … is known
	MinuteS float64   // the begin of a minute, seconds after the first sample
	Minute  bool      // … is known
	UTC     time.Time // of that minute; zero = not told
	DUT1    float64   // s, UT1 − UTC, where the code was read
	TAI     int       // s, TAI − UTC, where it was read; 0 = not
}

// Where the facts come from: NIST Special Publication 432 (2002 edition) for WWV and WWVH,
// NRC, "CHU broadcast codes", for CHU; ITU-R TF.768 for the others. What a recording of a minute of
// WWV showed is marked M.

// mark is how a station sounds at the second and at the minute.
type mark struct {
	name   string
	hz     float64
	tick   int // ms
	minute int // ms
}

var marks = [...]mark{
	{"WWV", 1000, 5, 800},
	{"WWVH", 1200, 5, 800},
	{"BPM", 1000, 10, 300},
	{"CHU", 1000, 300, 500},
}

const (
	leastSeconds = 20
	windowMS     = 5 // of the envelope that finds ticks
)

// Find lists the stations heard in 8 kHz samples of 20 s or more. Two may be heard on one
// frequency: WWV and WWVH are told apart by their tones.
func Find(samples []float32) (out []Station) {
	if len(samples) < leastSeconds*rate {
		return nil
	}
	if s, ok := chu(samples); ok {
		return []Station{s}
	}
	var slow []float64
	for _, hz := range [...]float64{1000, 1200} {
		m, begin := tick(samples, hz)
		if !ticks(samples, hz, whole(begin), m.tick) {
			continue
		}
		s := Station{Name: m.name, SecondS: math.Mod(begin/1e3+1, 1), Second: true}
		s.minute(samples, m)
		if m.name == "WWV" || m.name == "WWVH" {
			if slow == nil {
				slow = envelope(samples, 100, 50)
			}
			s.code(slow)
		}
		out = append(out, s)
	}
	return out
}

// ticks tells whether a tick of a tone, long ms, begins at ms begin of each second.
func ticks(samples []float32, hz float64, begin, long int) bool {
	t := trackOf(samples, hz, long, 0)
	return pulses(t, begin, long, secondsOf(samples)).won() && length(samples, t, hz, begin, long).won() && ownTone(samples, t, begin, long).won()
}

// tick proposes the station whose tick fits best where a tone stands out most in the second, and its begin, ms.
func tick(samples []float32, hz float64) (m mark, begin float64) {
	p := fold(envelope(samples, hz, windowMS))
	best, least := 0, math.Inf(1)
	for i := range p {
		if standsOut(p, i) > standsOut(p, best) {
			best = i
		}
	}
	u := linear(p)
	for _, k := range marks {
		if k.hz != hz || k.tick > 20 {
			continue
		}
		if b, left, _ := place(u, best, best-18, best+26, 12, windowMS, float64(k.tick)); left < least {
			m, begin, least = k, b, left
		}
	}
	return m, begin
}

// standsOut is by how much the folded envelope at ms i is above the quiet before and after it.
func standsOut(p []float64, i int) float64 {
	return at(p, i) - math.Max(mean(p, i-12, i-5), mean(p, i+12, i+25))
}

// minute looks for the long tone that begins the minute. Every second of a minute must have been
// heard: else the tone may be in one that was not, and what is loudest of the rest is a voice or code. Where else
// the tone lasts as long, at a second or between two, it begins no minute: a carrier goes on after it, and
// whether it does must be heard too.
func (s *Station) minute(samples []float32, m mark) {
	const step, minute = 100, 600 // ms; steps
	loud := s.lasting(samples, m, step)
	if len(loud) < minute+m.minute/step {
		return
	}
	best, rival := 0, 0.0
	for i := 0; i+m.minute/step < len(loud); i += 1000 / step {
		if loud[i] > loud[best] {
			best = i
		}
	}
	for i, v := range loud {
		if d := math.Abs(math.Remainder(float64(i-best), minute)); d*step >= float64(m.minute) {
			rival = math.Max(rival, v)
		}
	}
	if loud[best] > minuteClear*rival {
		s.MinuteS, s.Minute = s.SecondS+float64(best%minute*step)/1e3, true
	}
}

// lasting is how loud a tone is that begins at the first second, or some steps of ms after it, and lasts as long as that of
// the minute: in three quarters of its time it is louder.
func (s *Station) lasting(samples []float32, m mark, step int) (loud []float64) {
	const edge = 30 // ms
	env := envelope(samples, m.hz, 25)
	var x []float64
	for from := int(math.Round(s.SecondS * 1e3)); from+m.minute-edge <= len(env); from += step {
		x = x[:0]
		for k := from + edge; k < from+m.minute-edge; k += 10 {
			x = append(x, env[k])
		}
		slices.Sort(x)
		loud = append(loud, x[len(x)/4])
	}
	return loud
}

// minuteClear is by how much the power of the minute's tone must be above that of any other. Where such a tone is in each of n
// = 60 seconds, as loud on the mean and faded by Rayleigh's law, one is so much louder than all others in
// n(n−1)∫e^(−4x)·e^(−x)(1−e^(−x))^(n−2)dx = 24/((n+1)(n+2)(n+3)) = 1e-4 of minutes. Beside one other alone it is in a fifth.
const minuteClear = 4
