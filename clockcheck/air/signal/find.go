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
	slow := envelope(samples, 100, 50)
	var ticks []ticked
	for _, hz := range [...]float64{1000, 1200} {
		if t, ok := tick(fold(envelope(samples, hz, windowMS)), hz); ok && ownTone(samples, t) {
			ticks = append(ticks, t)
		}
	}
	for _, t := range apart(ticks) {
		if t.name == "" {
			continue
		}
		s := Station{Name: t.name, SecondS: math.Mod(t.begin/1e3+1, 1), Second: true}
		s.minute(samples, t.mark)
		if t.name == "WWV" || t.name == "WWVH" {
			s.code(slow)
		}
		out = append(out, s)
	}
	return out
}

// ticked is a pulse that comes each second; its name is empty where its length fits two stations
// or none.
type ticked struct {
	mark
	begin  float64 // ms of the second
	height float64 // its power, in parts of the noise's
	ms     int     // where it stands out most
}

// ownTone tells whether a pulse is of its tone, and not the edge of another tone that is keyed: the power of
// an edge falls off with the square of the distance to that tone, so that it is greater on the side where
// that is. No station ticks at 800 or 1400 Hz; of 1000 and 1200 Hz the other one may, as loud as it likes
// within what a splash takes. However long the other pulse is, it counts above what its tone is in most of the second.
func ownTone(samples []float32, t ticked) bool {
	for _, hz := range [...]float64{800, 1000, 1200, 1400} {
		if hz == t.hz {
			continue
		}
		most := t.height
		if hz == 1000 || hz == 1200 {
			most /= splashPart
		}
		u := linear(fold(envelope(samples, hz, windowMS)))
		quiet := median(u)
		for k := t.ms - splashMS; k <= t.ms+splashMS; k++ {
			if at(u, k)-quiet >= most {
				return false
			}
		}
	}
	return true
}

// standsOut is by how much the folded envelope at ms i is above the quiet before and after it.
func standsOut(p []float64, i int) float64 {
	return at(p, i) - math.Max(mean(p, i-12, i-5), mean(p, i+12, i+25))
}

// A tick's edges splash to the other tone: of a tone Δ = 200 Hz beside, x ms of which lie in a
// window of 5 ms, the window shows sin²(πΔx)/(πΔ·5 ms)² of its power, a tenth at most. Both
// figures are assumptions: 17 ms hold the longest tick, 10 ms, a window and 2 ms; a quarter is that
// tenth with room for tones that fade apart.
const (
	splashMS   = 17
	splashPart = 0.25
)

// apart drops what may be the splash of a louder tick.
func apart(all []ticked) (out []ticked) {
	for _, t := range all {
		own := true
		for _, o := range all {
			own = own && !(t.height < splashPart*o.height && math.Abs(math.Remainder(t.begin-o.begin, 1000)) < splashMS)
		}
		if own {
			out = append(out, t)
		}
	}
	return out
}

// tick finds the pulse of a tone that comes each second in its folded envelope. Before it and
// after it there must be quiet.
func tick(p []float64, hz float64) (t ticked, ok bool) {
	contrast := make([]float64, 1000)
	for i := range contrast {
		contrast[i] = standsOut(p, i)
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
		return t, false
	}
	for i, v := range contrast { // another as clear, elsewhere: no second
		if d := math.Abs(math.Remainder(float64(i-best), 1000)); d > 30 && v > 0.7*contrast[best] {
			return t, false
		}
	}
	t = long(linear(p), best, hz)
	t.hz, t.ms = hz, best
	return t, true
}

// Of two lengths one must fit so much better: the squares that the other leaves, by those that
// it leaves itself, and less those, in parts of the noise's variance. Windows of 5 ms at each
// millisecond make a square count five times: 50 is what one normal deviate of 3 σ makes
// (27 simulated minutes of each station had no wrong length; TestStations plays more). The
// other three figures are assumptions.
const (
	fitsBetter  = 1.5
	fitsClearly = 50.0
	fitsAtAll   = 0.3  // of the squares at most may be left
	quiet       = 0.25 // of a tick's height may the levels before and after it differ
)

// long says which station's tick the pulse at ms i is, by its length.
func long(u []float64, i int, hz float64) (t ticked) {
	lo, hi := i-18, i+26
	flat, _ := fit(u, lo, hi, func(int) float64 { return 0 })
	noise, best, next := scatter(u), math.Inf(1), math.Inf(1)
	for _, m := range marks {
		if m.hz != hz || m.tick > 20 {
			continue
		}
		begin, left, height := place(u, i, lo, hi, 12, windowMS, float64(m.tick))
		if left < best {
			best, next = left, best
			t = ticked{mark: m, begin: begin, height: height}
		} else {
			next = math.Min(next, left)
		}
	}
	// CHU's short ticks stand on a step, for most of its seconds are long.
	step := math.Abs(mean(u, i+16, i+26) - mean(u, i-16, i-6))
	if next < fitsBetter*best || next-best < fitsClearly*noise || best > fitsAtAll*flat || step > quiet*t.height {
		t.name = ""
	}
	return t
}

// minute looks for the long tone that begins the minute. Every second of a minute must have been
// heard: else the tone may be in one that was not, and what is loudest of the rest is a voice or code.
func (s *Station) minute(samples []float32, m mark) {
	env := envelope(samples, m.hz, 25)
	from, to := max(50, m.tick+30), m.minute-30 // where no other second has the tone
	tone := func(sec int) (level float64, heard bool) {
		var x []float64
		for ms := from; ms < to; ms += 10 {
			if i := int(s.SecondS*1e3) + sec*1000 + ms; i < len(env) {
				x = append(x, env[i])
			}
		}
		return median(x), len(x) >= (to-from)/10
	}
	var loud [60]float64
	for sec := 0; sec < 60 || sec*1000 < len(env); sec++ {
		level, heard := tone(sec)
		if heard {
			loud[sec%60] = math.Max(loud[sec%60], level)
		} else if sec < 60 {
			return
		}
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
