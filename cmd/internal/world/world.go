// Package world is a simulated station in virtual time: a true UTC, a local
// oscillator, a receiver that emits bytes, a hardware clock and a system clock
// that nobody steers, around the very same station code that the service runs.
//
// Nothing here is taken from the judge's own constants, and everything here is
// invented: a world is for showing and testing, never evidence of real time.
package world

import (
	"math"
	"math/rand/v2"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/gnsstest"
	"noonmark/rtc"
	"noonmark/rtc/rtctest"
	"noonmark/status"
)

// Scenario is a station and its story.
type Scenario struct {
	Name, Summary string
	Receiver      gnsstest.Model
	NoReceiver    bool
	NoRTC         bool
	RTC           rtctest.Model
	RTCError      time.Duration // RTC − UTC at the start
	OffFor        time.Duration // power-off before the start
	Learned       bool          // compared with a server at home before that
	OscPPM        float64       // the oscillator gains so much on UTC
	WanderPPM     float64       // its random walk, sd after an hour
	SystemError   time.Duration // system clock − UTC at the start
	Place         gnsstest.Place
	Length        time.Duration // of the story
	Story         []Chapter
}

// Chapter changes the scene from an instant of the story on.
type Chapter struct {
	From    time.Duration
	Text    string
	Scene   gnsstest.Scene
	Step    time.Duration // somebody moves the system clock by this
	Servers []Server      // a network is there
}

// Server is a time server of the story.
type Server struct {
	Name  string
	Error time.Duration
	Bound time.Duration
}

// World is a scenario under way. Make one with New.
type World struct {
	Station *station.Station
	s       Scenario
	rng     *rand.Rand
	start   timescale.UTC
	utc     timescale.UTC   // true
	local   timescale.Local // local timescale
	boot    timescale.Local // local at start
	frac    float64         // ns of local not yet counted
	ppm     float64
	system  time.Duration // system clock − true UTC, without drift since
	drift   float64       // ns, drift of the system clock
	rx      *gnsstest.Receiver
	clock   *rtctest.Clock
	chapter int
	nextRTC timescale.UTC
	asked   timescale.UTC
	opened  bool
	line    []piece // on its way from the receiver
}

// Start is when the built-in stories begin.
var Start = timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 6, 250e6, time.UTC))

// New returns the world at the instant the program starts.
func New(s Scenario, cfg station.Config, seed uint64) *World {
	w := &World{s: s, rng: rand.New(rand.NewPCG(seed, 0x776f726c64)), start: Start, utc: Start,
		local: 12_250_000_000, ppm: s.OscPPM, system: s.SystemError, chapter: -1}
	w.boot = w.local
	w.rx = gnsstest.New(s.Receiver, seed+1)
	before := Start.Add(-s.OffFor - time.Hour)
	w.clock = rtctest.New(s.RTC, seed+2, before, before.Add(s.RTCError))
	learned := clockcheck.Learned{}
	if s.Learned {
		learned = w.learn(before)
	}
	w.Station = station.New(cfg, learned)
	w.nextRTC = Start.Add(time.Second)
	if s.NoRTC {
		w.Station.RTCMissing("This computer has no hardware clock.")
	}
	if s.NoReceiver {
		w.Station.Lost("No receiver is plugged in.", w.local)
	}
	return w
}

// learn is what the station kept from its last hour at home, beside a server.
func (w *World) learn(at timescale.UTC) clockcheck.Learned {
	l := clockcheck.Learned{RatePPM: -w.s.OscPPM, RateSigmaPPM: 0.5}
	if edge, shows, ok := w.clock.NextEdge(at.Add(time.Second)); ok {
		l.RTC = &clockcheck.LearnedRTC{At: edge, OffsetS: shows.Sub(edge).Seconds(), SigmaS: 0.01, RatePPM: w.s.RTC.PPM,
			RateSigmaPPM: 0.5, DateProved: true, Ancestry: []string{"server"}}
	}
	return l
}

// Second lets a second of true time pass and returns the snapshot at its end.
func (w *World) Second() *status.Snapshot {
	begin, end := w.utc, w.utc.Add(time.Second)
	scene := w.turn()
	if !w.s.NoReceiver {
		w.receive(scene, end)
	}
	w.ask()
	w.to(end)
	w.readRTC(begin)
	return w.Station.Tick(w.tick())
}

// turn moves to the chapter of this instant.
func (w *World) turn() gnsstest.Scene {
	for w.chapter+1 < len(w.s.Story) && w.Elapsed() >= w.s.Story[w.chapter+1].From {
		w.chapter++
		w.system += w.s.Story[w.chapter].Step
	}
	if w.chapter < 0 {
		return gnsstest.Scene{}
	}
	return w.s.Story[w.chapter].Scene
}

// Chapter is the text of the story's present chapter.
func (w *World) Chapter() string {
	if w.chapter < 0 {
		return ""
	}
	return w.s.Story[w.chapter].Text
}

// Elapsed is true time since the start.
func (w *World) Elapsed() time.Duration { return w.utc.Sub(w.start) }

// UTC is the true UTC now.
func (w *World) UTC() timescale.UTC { return w.utc }

// SystemError is the true error of the system clock, s.
func (w *World) SystemError() float64 { return (float64(w.system) + w.drift) / 1e9 }

func (w *World) tick() station.Tick {
	return station.Tick{Local: w.local, System: w.utc.Add(w.system + time.Duration(w.drift)),
		BoottimeS: w.local.Sub(0).Seconds()}
}

// to moves true time, and the oscillator with it.
func (w *World) to(utc timescale.UTC) {
	d := float64(utc.Sub(w.utc))
	if d <= 0 {
		return
	}
	w.ppm += w.s.WanderPPM * w.rng.NormFloat64() * math.Sqrt(d/3600e9)
	passed := d*(1+w.ppm*1e-6) + w.frac
	whole := math.Floor(passed)
	w.frac = passed - whole
	w.local += timescale.Local(whole)
	w.drift += d * w.ppm * 1e-6
	w.utc = utc
}

// chunk is how much one read takes at most, as the service's reader rests.
const chunk = 96

// receive delivers what the receiver sends for the whole second that begins next,
// as far as it arrives until end.
func (w *World) receive(scene gnsstest.Scene, end timescale.UTC) {
	second := (w.utc + timescale.UTC(timescale.Second) - 1) / timescale.UTC(timescale.Second) * timescale.UTC(timescale.Second)
	if w.opened == scene.Unplugged {
		w.opened = !scene.Unplugged
		if w.opened {
			w.Station.Opened(station.Source{Device: "simulated receiver", Identity: "simulated receiver", Baud: w.baud()}, w.local)
		} else {
			w.Station.Lost("The receiver is unplugged: plug it in.", w.local)
		}
	}
	for _, b := range w.rx.Emit(second, w.s.Place, scene) {
		n := 1
		for at := b.At; len(b.Bytes) > 0; n = min(chunk, len(b.Bytes)) {
			at = at.Add(time.Duration(n) * b.PerByte)
			w.line = append(w.line, piece{at, b.Bytes[:n], n > 1})
			b.Bytes = b.Bytes[n:]
		}
	}
	// At a low speed the end of a burst comes after the end of this second.
	n := 0
	for ; n < len(w.line) && w.line[n].at <= end; n++ {
		w.to(w.line[n].at)
		w.Station.Bytes(w.line[n].bytes, station.Read{At: w.local, Flowing: w.line[n].flowing})
	}
	w.line = append(w.line[:0], w.line[n:]...)
}

// piece is what one read returns.
type piece struct {
	at      timescale.UTC
	bytes   []byte
	flowing bool
}

func (w *World) baud() int {
	if w.s.Receiver.Baud != 0 {
		return w.s.Receiver.Baud
	}
	return 9600
}

// readRTC looks for an edge every so often, as the service does. It is called at
// the end of a second, for the edges within it.
func (w *World) readRTC(begin timescale.UTC) {
	if w.s.NoRTC || w.utc < w.nextRTC {
		return
	}
	w.nextRTC = w.utc.Add(time.Minute)
	at, shows, ok := w.clock.NextEdge(begin)
	if !ok {
		w.Station.RTCInvalid(w.local)
		return
	}
	edge := w.local.Add(at.Sub(w.utc)) // within a second of now: the rate does not matter
	half := 2 * time.Millisecond
	jitter := time.Duration((w.rng.Float64()*2 - 1) * float64(half))
	w.Station.RTC(rtc.Reading{Edge: edge.Add(jitter), Half: half, Value: shows})
}

// ask lets the chapter's servers answer, each 64 s.
func (w *World) ask() {
	if w.chapter < 0 || len(w.s.Story[w.chapter].Servers) == 0 || w.utc.Sub(w.asked) < 64*time.Second {
		return
	}
	w.asked = w.utc
	for _, s := range w.s.Story[w.chapter].Servers {
		noise := time.Duration(w.rng.NormFloat64() * float64(s.Bound) / 4)
		w.Station.Network(netref.Reading{Server: s.Name, At: w.local, UTC: w.utc.Add(s.Error + noise), Bound: s.Bound})
	}
}
