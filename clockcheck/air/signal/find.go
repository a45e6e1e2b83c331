package signal

import (
	"math"
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
	peak    float64   // nats by which its tick stands out
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
	clearBy      = 7.0
	clearLeast   = 0.35
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
	slow := envelope(samples, 100, 50*perMS)
	for _, hz := range [...]float64{1000, 1200} {
		env := envelope(samples, hz, windowMS*perMS)
		profile := fold(env)
		middle, length, peak, ok := tick(profile)
		if !ok {
			continue
		}
		m := markOf(hz, length)
		if m.name == "" {
			continue
		}
		begin := middle - float64(m.tick-windowMS)/2
		s := Station{Name: m.name, SecondS: math.Mod(begin/1e3+1, 1), Second: true, peak: peak}
		s.minute(samples, m)
		if m.name == "WWV" || m.name == "WWVH" {
			s.code(slow)
		}
		out = append(out, s)
	}
	return apart(out)
}

// markOf is the station with such a tick; its name is empty where there is none. A pulse of
// n ms shows as n to n + 2 (M, and by simulation).
func markOf(hz, length float64) mark {
	for _, m := range marks {
		if m.hz == hz && length > float64(m.tick)-2 && length < float64(m.tick)+3 {
			return m
		}
	}
	return mark{}
}

// The edges of a tick splash to the other tone, where they are 10 dB (2.3 nats) down.
const (
	splashS    = 0.012
	splashNats = 1.2
)

// apart drops the one of two tones that is the other's splash.
func apart(all []Station) []Station {
	if len(all) < 2 || math.Abs(math.Remainder(all[0].SecondS-all[1].SecondS, 1)) > splashS {
		return all
	}
	switch d := all[0].peak - all[1].peak; {
	case d > splashNats:
		return all[:1]
	case d < -splashNats:
		return all[1:]
	}
	return all
}

// tick finds the pulse that comes each second: the middle of the windows that hold it, ms of
// the second, how long it is, and by how much it stands out. Before it and after it
// there must be quiet.
func tick(p []float64) (middle, length, peak float64, ok bool) {
	contrast := make([]float64, 1000)
	for i := range contrast {
		contrast[i] = at(p, i) - math.Max(mean(p, i-12, i-5), mean(p, i+12, i+25))
	}
	best := 0
	for i, v := range contrast {
		if v > contrast[best] {
			best = i
		}
	}
	spread := make([]float64, 1000)
	mid := median(contrast)
	for i, v := range contrast {
		spread[i] = math.Abs(v - mid)
	}
	sigma := 1.4826 * median(spread)
	if contrast[best]-mid < clearBy*sigma || contrast[best] < clearLeast {
		return 0, 0, 0, false
	}
	for i, v := range contrast { // another as clear, elsewhere: no second
		if d := math.Abs(math.Remainder(float64(i-best), 1000)); d > 30 && v > 0.7*contrast[best] {
			return 0, 0, 0, false
		}
	}
	// The windows that overlap a pulse of n ms: n + 5 − 1 of them, around its middle.
	base := (mean(p, best-12, best-5) + mean(p, best+12, best+25)) / 2
	half := base + (at(p, best)-base)/2
	lo, hi := best, best
	for at(p, lo-1) > half && best-lo < 20 {
		lo--
	}
	for at(p, hi+1) > half && hi-best < 20 {
		hi++
	}
	sum, moment := 0.0, 0.0
	for i := lo - 2; i <= hi+2; i++ {
		w := math.Max(at(p, i)-base, 0)
		sum, moment = sum+w, moment+w*float64(i)
	}
	// Of n + 4 windows the two at the ends hold too little of the pulse to count.
	length = math.Max(float64(hi-lo+1)-windowMS+3, windowMS)
	return moment / sum, length, at(p, best) - base, true
}

// minute looks for the long tone that begins the minute.
func (s *Station) minute(samples []float32, m mark) {
	env := envelope(samples, m.hz, 25*perMS)
	tone := func(sec int) float64 {
		var x []float64
		for ms := 50; ms < m.minute-50; ms += 10 {
			if i := int(s.SecondS*1e3) + sec*1000 + ms; i < len(env) {
				x = append(x, env[i])
			}
		}
		if len(x) < (m.minute-100)/10 {
			return 0
		}
		return median(x)
	}
	var loud [60]float64
	for sec := 0; sec*1000 < len(env); sec++ {
		loud[sec%60] = math.Max(loud[sec%60], tone(sec))
	}
	first, second := 0, -1
	for i := range loud {
		if loud[i] > loud[first] {
			first = i
		}
	}
	for i := range loud {
		if i != first && (second < 0 || loud[i] > loud[second]) {
			second = i
		}
	}
	if loud[first] > 4*loud[second] && loud[first] > 0 {
		s.MinuteS, s.Minute = s.SecondS+float64(first), true
	}
}
