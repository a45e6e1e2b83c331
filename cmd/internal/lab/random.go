package lab

import (
	"math"
	"math/rand/v2"
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/world"
	"noonmark/gnss/gnsstest"
	"noonmark/rtc/rtctest"
)

// NightLength is that of a random night, the evening before it not counted.
const NightLength = 12 * time.Hour

// Random draws a station and a night. Its parameters come from data sheets and
// measurements, named where they stand, never from the judge's own constants; a
// share of worlds is unlike anything that the judge assumes. What no station
// could see is not drawn (a lone server that lies, a hardware clock set while the
// power was off), or declared (a drag-off slower than the documentation calls
// visible, a receiver that lies from its start or as its leap-second data would).
func Random(seed uint64) *Case {
	d := &draw{Rand: rand.New(rand.NewPCG(seed, 0x72616e646f6d))}
	c := &Case{}
	c.Name, c.Place = "random", camp
	for _, n := range []string{"FT8", "FT4", "JS8-6"} {
		m, err := clockcheck.ModeNamed(n)
		if err != nil {
			panic(err) // the table has them
		}
		c.Modes = append(c.Modes, m)
	}
	// Crystals of small computers: ±10 to ±50 ppm; idle 0.6 ppm peak to peak in 8 h,
	// ±3 ppm with field temperatures (a measured single-board computer; planning numbers).
	c.Osc = world.Oscillator{PPM: 20 * d.NormFloat64(), WanderPPM: d.log(0.03, 0.5), NoisePPM: d.log(1e-4, 1e-2),
		TempPPM: 0.1 * d.NormFloat64(), AgeingPPM: 0.01 * d.NormFloat64()}
	c.Air = world.Air{OffC: d.between(-30, 5), SwingC: d.between(1, 10)}
	d.clock(c)
	c.Receiver = d.receiver()
	c.Steered = d.chance(0.5)
	c.SystemError = d.span(-500*time.Millisecond, 500*time.Millisecond)
	sky := gnsstest.Scene{Satellites: 5 + d.IntN(9)}
	c.Story = []world.Chapter{{Scene: sky}}
	begin := d.evening(c, sky)
	if c.Receiver.Latency.Ramp > 0 {
		c.declare(1, 0, 0) // a ramp is a drag-off too slow to be seen in time
	}
	c.Length = begin + NightLength
	c.Thermometer = drawThermometer(seed)
	d.on = begin
	for at := begin + d.span(0, 2*time.Hour); at < c.Length-time.Minute; {
		at = d.event(c, at, sky) + time.Duration(float64(3*time.Hour)*d.ExpFloat64())
	}
	return c
}

type draw struct {
	*rand.Rand
	on time.Duration // since when the receiver has had power
}

func (d draw) between(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// log draws so that each factor of two is as likely as the next.
func (d draw) log(lo, hi float64) float64 {
	return lo * math.Pow(hi/lo, d.Float64())
}

func (d draw) span(lo, hi time.Duration) time.Duration {
	return time.Duration(d.between(float64(lo), float64(hi)))
}

func (d draw) logSpan(lo, hi time.Duration) time.Duration {
	return time.Duration(d.log(float64(lo), float64(hi)))
}

func (d draw) chance(p float64) bool { return d.Float64() < p }

// drawThermometer draws one for half of the stations, from a generator of its own:
// the other parameters of a seed stay. Sensors on chips: ±3 °C, in steps of 0.25 to
// 1 °C (DS3231 data sheet; processors' zones); a small computer is 5 to 25 °C warmer
// than the air (common practice, no source).
func drawThermometer(seed uint64) *world.Thermometer {
	d := draw{Rand: rand.New(rand.NewPCG(seed, 0x746865726d6f))}
	if d.chance(0.5) {
		return nil
	}
	m := &world.Thermometer{OffC: d.between(-3, 3), NoiseC: d.log(0.05, 1), StepC: []float64{0.0625, 0.25, 0.5, 1}[d.IntN(4)],
		Lag: d.logSpan(time.Minute, time.Hour), HeatC: d.between(0, 25), HeatOver: d.logSpan(2*time.Minute, 40*time.Minute)}
	if d.chance(0.4) { // the processor's own, which shows its work
		m.LoadC = d.between(2, 20)
	}
	return m
}

// clock draws the hardware clock: data sheets of DS3231 (±2 ppm, ±5 ppm for the
// variant sold under its name), plain tuning forks (±20 ppm, −0.034 ppm/°C²).
func (d draw) clock(c *Case) {
	m := &c.RTC
	*m = rtctest.Model{FirstTick: time.Second, T0: d.between(20, 30), InvalidFails: d.chance(0.7), HasFlags: d.chance(0.5),
		ResetTo: world.Start.Add(-40 * 365 * 24 * time.Hour)}
	switch {
	case d.chance(0.1):
		c.NoRTC = true
	case d.chance(0.6):
		c.Compensated = true
		m.PPM, m.WanderPPM, m.CurvePPM = d.between(-2, 2), d.log(0.02, 0.1), d.between(-0.001, 0.001)
	default:
		m.PPM, m.WanderPPM, m.CurvePPM = 10*d.NormFloat64(), d.log(0.02, 0.3), -d.between(0.030, 0.040)
	}
	c.RTCError = time.Duration(2e9 * d.NormFloat64())
	c.OffFor = d.logSpan(time.Minute, 48*time.Hour)
}

// receiver draws one: latencies, jitters, sets and speeds as in recorded files and
// makers' papers: +20 to +350 ms, up to 0.6 s; jitter 0.3 to 30 ms; two of thirteen
// describe the second before.
func (d draw) receiver() gnsstest.Model {
	m := gnsstest.Typical()
	l := &m.Latency
	*l = gnsstest.Latency{Mean: d.logSpan(20*time.Millisecond, 600*time.Millisecond), Jitter: d.logSpan(300*time.Microsecond, 30*time.Millisecond),
		Wander: d.logSpan(300*time.Microsecond, 10*time.Millisecond), Restart: d.span(0, 20*time.Millisecond)}
	if d.chance(0.05) { // seen to arrive 0.9 to 1.19 s late
		m.PreviousSecond, l.Mean = true, d.span(0, 150*time.Millisecond)
	}
	switch {
	case d.chance(0.05):
		l.Ramp = d.logSpan(5*time.Millisecond, 60*time.Millisecond)
	case d.chance(0.05):
		l.Bimodal, l.BimodalBy = d.between(0.1, 0.9), d.span(50*time.Millisecond, 200*time.Millisecond)
	case d.chance(0.05):
		l.Jump, l.JumpAfter = d.span(30*time.Millisecond, 350*time.Millisecond), d.span(time.Minute, 6*time.Hour)
	case d.chance(0.05):
		l.Jitter = d.span(30*time.Millisecond, 80*time.Millisecond)
	}
	if m.PreviousSecond { // 1.19 s is the latest that was seen, whatever moves it
		room := 190*time.Millisecond - l.Mean
		l.Jump, l.BimodalBy = min(l.Jump, room), min(l.BimodalBy, room)
		l.Wander = min(l.Wander, (room-max(l.Jump, l.BimodalBy))/14) // four times what it does in 12 h
	}
	sets := [][]string{nil, {"RMC", "GGA"}, {"GGA", "RMC", "ZDA"}, {"RMC"}, {"GGA", "GSA", "GSV", "RMC"}, {"ZDA", "RMC", "GGA", "GLL", "GST"}}
	m.Sentences = sets[d.IntN(len(sets))]
	m.Baud = []int{4800, 9600, 9600, 9600, 38400, 115200}[d.IntN(6)]
	if d.chance(0.1) && m.Baud > 9600 {
		m.RateHz, m.Sentences = []int{2, 5, 10}[d.IntN(3)], sets[1]
	}
	m.Talker = []string{"GN", "GP"}[d.IntN(2)]
	m.Warm = d.chance(0.5)
	if d.chance(0.4) {
		m.LeapMissing = []int{1, 2, 3, 4, 5, 18}[d.IntN(6)]
	}
	if d.chance(0.05) {
		m.WeekRollovers = 1
	}
	m.BeforeFix = gnsstest.BeforeFix(d.IntN(5))
	m.OwnError = time.Duration(3e9 * d.NormFloat64())
	m.OwnPPM = 5 * d.NormFloat64()
	m.ColdFix = d.logSpan(20*time.Second, 10*time.Minute)
	if d.chance(0.05) {
		m.Estimates = d.logSpan(time.Second, time.Minute)
	}
	return m
}

// evening puts hours at home beside a server before the night, for most.
func (d draw) evening(c *Case, sky gnsstest.Scene) time.Duration {
	if d.chance(0.35) {
		return 0
	}
	stay := d.logSpan(20*time.Minute, 6*time.Hour)
	c.Story[0].Servers = []world.Server{d.server("home")}
	c.Story = append(c.Story, world.Chapter{From: stay, Scene: sky, Off: d.logSpan(time.Minute, 72*time.Hour), Cut: d.chance(0.3)})
	return stay + c.Story[1].Off
}

// server draws an honest one: its error is some constant within its bound.
func (d draw) server(name string) world.Server {
	bound := d.logSpan(5*time.Millisecond, 100*time.Millisecond)
	return world.Server{Name: name, Bound: bound, Error: time.Duration(float64(bound) * d.between(-0.7, 0.7))}
}

// event lets something happen at an instant and returns when it is over.
func (d *draw) event(c *Case, at time.Duration, sky gnsstest.Scene) time.Duration {
	end := at + d.logSpan(time.Minute, 6*time.Hour)
	during, after := world.Chapter{From: at, Scene: sky}, world.Chapter{From: end, Scene: sky}
	switch p := d.Float64(); {
	case p < 0.35: // carried into the tent
		during.Scene.Satellites = d.IntN(3)
	case p < 0.45:
		during.Scene.Unplugged = true
		d.on = end
	case p < 0.55:
		during.Off, during.Cut, during.Forget = end-at, d.chance(0.7), d.chance(0.1)
		d.on = end
	case p < 0.60:
		during.Sleep = end - at
	case p < 0.65:
		during.Step = time.Duration(2e9 * d.NormFloat64())
	case p < 0.70: // a phone's network for a while, or three servers and a liar
		during.Servers = []world.Server{d.server("phone")}
		if d.chance(0.3) {
			liar := d.server("liar")
			liar.Error = d.span(-3*time.Second, 3*time.Second)
			during.Servers = append(during.Servers, d.server("second"), liar)
		}
	case p < 0.75:
		during.Scene.Corrupt = d.log(1e-4, 3e-2)
	case p < 0.80:
		during.Scene.Stuck = true
	case p < 0.85:
		during.Scene.Held = true
	case p < 0.92:
		during.Scene.FalseTime = d.falseTime()
	default:
		d.drag(c, &during)
	}
	t := during.Scene.FalseTime
	likeLeapData := t < -time.Second/2 && (t-t.Round(time.Second)).Abs() < nearlyWhole // while those may be missing
	fromItsStart := t != 0 && at < d.on+c.Receiver.ColdFix+time.Minute                 // it lies from its first fix on
	if likeLeapData || fromItsStart {
		// It is found out when the receiver comes back, some seconds after the end.
		class := 2
		if fromItsStart {
			class = 3
		}
		c.declare(class, at, end+15*time.Second)
	}
	c.Story = append(c.Story, during, after)
	return end
}

// nearlyWhole: a step by so much else than whole seconds may be one of those with a
// latency that moved, for a receiver with the largest scatter there is.
const nearlyWhole = 250 * time.Millisecond

func (d draw) falseTime() time.Duration {
	if d.chance(0.3) {
		return time.Duration(1+d.IntN(5)) * time.Second * time.Duration(1-2*d.IntN(2))
	}
	return time.Duration(3e9 * d.NormFloat64())
}

// VisiblePPM is the rate from which on the documentation says that a lone
// receiver's drag-off is seen before it does harm.
const VisiblePPM = 200

func (d *draw) drag(c *Case, ch *world.Chapter) {
	ppm := d.log(5, 2000)
	ch.Scene.FalseTime, ch.Scene.FalseDrag = 1, time.Duration(ppm*1e3)*time.Duration(1-2*d.IntN(2))
	// A receiver that describes the second before is as late as the guard allows for
	// while nobody has proved its latency: a drag-off leaves it before it is seen.
	if ppm < VisiblePPM || c.Receiver.PreviousSecond {
		c.declare(1, ch.From, 0)
	}
}
