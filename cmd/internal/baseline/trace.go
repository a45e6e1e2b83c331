package baseline

import (
	"math"
	"math/rand/v2"
	"time"

	"noonmark/clockcheck/timescale"
)

// Station is an oscillator and a receiver, described by their noise.
type Station struct {
	Name     string
	WhiteFM  float64 // q1 of the two-state clock, s²/s
	WalkFM   float64 // q2, 1/s
	DailyPPM float64 // amplitude of the rate over a day, by temperature
	Latency  float64 // mean arrival latency, s: learned beforehand
	WanderS  float64 // random walk of the latency, sd after an hour
	Jitter   Jitter
}

// Jitter is the spread of the arrival about its latency: mean 0.
type Jitter struct {
	GaussS float64 // sd of a Gaussian part, s
	LateS  float64 // mean of an exponential part: bursts are late, never early
	// Share of the epochs come By later than the rest.
	Share, By float64
}

// variance is that of the whole.
func (j Jitter) variance() float64 {
	return j.GaussS*j.GaussS + j.LateS*j.LateS + j.Share*(1-j.Share)*j.By*j.By
}

func (j Jitter) draw(rng *rand.Rand) float64 {
	v := j.GaussS*rng.NormFloat64() + j.LateS*(rng.ExpFloat64()-1) - j.Share*j.By
	if rng.Float64() < j.Share {
		v += j.By
	}
	return v
}

// Stations are those compared. Jitters are measured ones: 0.3 ms (a survey receiver)
// and 51 ms in two modes are captures of a research ship's logger, 6.8 ms is another
// of them and what a list of timing amateurs reports of modules (2016-07), skewed
// late; 20 ms a module into a microcontroller, in an open log. Oscillators: 0.6 ppm peak to peak in 8 h
// indoors was measured on a single-board computer, and the range of a random walk
// over T is 1.6·√(q2·T) (Feller, Ann. Math. Stat. 22, 1951). A rate that swings by
// 1 ppm with the day, a latency's walk of 2 ms in an hour and white noise of
// 3·10⁻⁹ at 1 s are common practice, no source.
func Stations() []Station {
	const white, walk = 9e-18, 4.9e-18
	module, jittery := Jitter{LateS: 0.0068}, Jitter{GaussS: 0.01, LateS: 0.0175}
	return []Station{
		{Name: "survey receiver, indoors", WhiteFM: white, WalkFM: walk, Latency: 0.115, Jitter: Jitter{GaussS: 0.0003}},
		{Name: "module, indoors", WhiteFM: white, WalkFM: walk, Latency: 0.12, Jitter: module},
		{Name: "module, outdoors", WhiteFM: white, WalkFM: walk, DailyPPM: 1, Latency: 0.12, Jitter: module},
		{Name: "jittery module, outdoors", WhiteFM: white, WalkFM: walk, DailyPPM: 1, Latency: 0.2, Jitter: jittery},
		{Name: "module, restless oscillator", WhiteFM: 1e-16, WalkFM: 1e-16, DailyPPM: 1, Latency: 0.12, Jitter: module},
		{Name: "receiver of two modes, indoors", WhiteFM: white, WalkFM: walk, Latency: 0.16, Jitter: Jitter{GaussS: 0.01, Share: 0.07, By: 0.196}},
		{Name: "module, latency walks 0.5 ms/√h", WhiteFM: white, WalkFM: walk, DailyPPM: 1, Latency: 0.12, WanderS: 0.0005, Jitter: module},
		{Name: "module, latency walks 2 ms/√h", WhiteFM: white, WalkFM: walk, DailyPPM: 1, Latency: 0.12, WanderS: 0.002, Jitter: module},
		{Name: "jittery module, the same", WhiteFM: white, WalkFM: walk, DailyPPM: 1, Latency: 0.2, WanderS: 0.002, Jitter: jittery},
		{Name: "module, latency walks 10 ms/√h", WhiteFM: white, WalkFM: walk, DailyPPM: 1, Latency: 0.12, WanderS: 0.010, Jitter: module},
	}
}

// rateSigma is how well the rate is known at the begin: a computer is warmer or
// colder than when it was learned.
const rateSigma = 0.5e-6

// start of every trace.
var start = timescale.UTCOf(time.Date(2031, 2, 3, 18, 0, 0, 0, time.UTC))

// trace is a night as it was: whole second k of true UTC is start + k s.
type trace struct {
	s       Station
	local   []timescale.Local // the local timescale at each whole second
	arrival []timescale.Local // … when the burst that names this second came
	learned float64           // the oscillator's rate as learned beforehand
}

// utc is true UTC at whole second k.
func utc(k int) timescale.UTC { return start.Add(time.Duration(k) * time.Second) }

// draw makes a night of n seconds; the same seed gives the same night.
func draw(s Station, n int, seed uint64) *trace {
	rng := rand.New(rand.NewPCG(seed, 0x6e69676874))
	t := &trace{s: s, local: make([]timescale.Local, n+1), arrival: make([]timescale.Local, n)}
	walk, late := 12e-6*(2*rng.Float64()-1), 0.0
	phase := 2 * math.Pi * rng.Float64()
	t.learned = walk + s.DailyPPM*1e-6*math.Sin(phase) + rateSigma*rng.NormFloat64()
	now, part := timescale.Local(12_250_000_000), 0.0
	for k := range n {
		t.local[k] = now
		daily := s.DailyPPM * 1e-6 * math.Sin(phase+2*math.Pi*float64(k)/86400)
		step := walk + daily + math.Sqrt(s.WhiteFM)*rng.NormFloat64()
		walk += math.Sqrt(s.WalkFM) * rng.NormFloat64()
		late += s.WanderS / 60 * rng.NormFloat64()
		after := min(max(s.Latency+late+s.Jitter.draw(rng), 0.001), 0.999)
		t.arrival[k] = now + timescale.Local(after*(1+step)*1e9)
		part += step * 1e9
		whole := math.Floor(part)
		now, part = now+timescale.Local(1e9+whole), part-whole
	}
	t.local[n] = now
	return t
}

// claim is UTC − local, s, as the burst of second k has it, with the learned
// latency taken into account. It is relative to start and to the first second.
func (t *trace) claim(k int) float64 {
	return float64(k) + t.s.Latency - t.arrival[k].Sub(t.local[0]).Seconds()
}

// truth is the same as it is at whole second k.
func (t *trace) truth(k int) float64 { return float64(k) - t.local[k].Sub(t.local[0]).Seconds() }

// rms of the errors from a whole second on.
type rms struct{ sum, n float64 }

func (r *rms) add(v float64) { r.sum += v * v; r.n++ }

func (r *rms) value() float64 { return math.Sqrt(r.sum / r.n) }
