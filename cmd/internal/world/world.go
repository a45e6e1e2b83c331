// Package world is a simulated station in virtual time: a true UTC, a local
// oscillator, the air's temperature, a receiver that emits bytes, a hardware
// clock, time servers and a system clock, around the very same station code that
// the service runs.
//
// Nothing here is taken from the judge's own constants, and everything here is
// invented: a world is for showing and testing, never evidence of real time. The
// same scenario, configuration and seed give the same judgement. One goroutine
// at a time.
package world

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/keep"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/gnsstest"
	"noonmark/rtc"
	"noonmark/rtc/rtctest"
	"noonmark/status"
)

// World is a scenario under way. Make one with New.
type World struct {
	Station *station.Station
	s       Scenario
	cfg     station.Config
	rng     *rand.Rand
	start   timescale.UTC
	utc     timescale.UTC   // true
	local   timescale.Local // local timescale
	frac    float64         // ns of local not yet counted
	walkPPM float64         // of the oscillator
	asleep  time.Duration   // since boot
	system  float64         // system clock − true UTC, ns
	rx      *gnsstest.Receiver
	rtc     *rtctest.Clock
	chapter int
	servers []Server
	nextRTC timescale.Local
	rtcPace rtc.Pace
	asking  map[string]*netref.Pace // each server that was named in this run
	names   []string                // of servers, in the order in which the story named them
	saving  keep.Pace
	opened  bool
	line    []piece // on its way from the receiver
	kept    kept
	pulsing pulsing
	said    float64       // what the station last said of the system clock's error, s
	kernel  *kernel       // nil = nobody steers the system clock
	powered timescale.UTC // when the power came, at the latest

	thermometer thermometer
	odd         *rand.Rand // what only unusual worlds draw from
	ownBoots    int        // boots named by the world, where the configuration names none; −1 = it does
	room, sun   moves      // what is added to the air's temperature, °C
	duty        duty       // of the transmitter
	jumped      float64    // by how much the oscillator's rate has jumped, ppm
	slewPPM     float64    // another program's, where nobody of ours steers the clock
	link        Link
	transit     transit
	void        timescale.UTC // until when the receiver calls itself invalid
	ear         ear
	portal      *Server // answers in the place of all servers
	way         Way
	onSnapshot  func(*status.Snapshot)
}

// kept is the state file.
type kept struct {
	learned  clockcheck.Learned
	steering steer.Learned
	place    *station.LastPlace
	writes   int
	former   *clockcheck.Learned // the generation before
}

// Start is when a scenario begins that does not say when.
var Start = timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 6, 250e6, time.UTC))

// bootTime is how long a computer runs before its services do.
const bootTime = 12_250 * time.Millisecond

// New returns the world at the instant the program starts.
func New(s Scenario, cfg station.Config, seed uint64) *World {
	if s.Start == 0 {
		s.Start = Start
	}
	w := &World{s: s, cfg: cfg, rng: rand.New(rand.NewPCG(seed, 0x776f726c64)), start: s.Start, utc: s.Start,
		system: float64(s.SystemError), chapter: -1}
	w.odd = rand.New(rand.NewPCG(seed, 0x6f6464))
	if cfg.BootID != "" {
		w.ownBoots = -1
	}
	w.thermometer.rng, w.powered = rand.New(rand.NewPCG(seed, 0x74656d70)), s.Start
	w.ear.rng = rand.New(rand.NewPCG(seed, 0x656172))
	w.rx, w.link = gnsstest.New(s.Receiver, seed+1), s.Link
	before := s.Start.Add(-s.OffFor - time.Hour)
	model := s.RTC
	model.Temperature = w.airAt
	w.rtc = rtctest.New(model, seed+2, before, before.Add(s.RTCError))
	if s.Learned {
		w.kept.learned = w.learn(before)
	}
	w.boot()
	return w
}

// boot starts the machine, and the program on what was kept.
func (w *World) boot() {
	w.local, w.asleep = timescale.Local(bootTime), 0
	if w.ownBoots >= 0 {
		w.ownBoots++
		w.cfg.BootID = fmt.Sprintf("boot %d of this world", w.ownBoots)
	}
	w.slewPPM = 0
	w.startKernel()
	w.startProgram()
}

// startProgram starts the program, the machine running on.
func (w *World) startProgram() {
	w.opened, w.line = false, nil
	w.asking, w.names, w.saving, w.rtcPace = map[string]*netref.Pace{}, nil, keep.Pace{}, rtc.Pace{}
	w.startSteering()
	w.Station = station.New(w.cfg, w.kept.learned)
	w.Station.Remember(w.kept.place)
	w.nextRTC = w.local
	w.ear.tune(w.local)
	w.ear.heard = 0
	w.thermometer.next = 0
	w.warm()
	if w.s.NoRTC {
		w.Station.RTCMissing("This computer has no hardware clock.")
	}
	if w.s.NoReceiver {
		w.Station.Lost("No receiver is plugged in.", w.local)
	}
}

// learn is what the station kept from its last hour at home, beside a server.
func (w *World) learn(at timescale.UTC) clockcheck.Learned {
	l := clockcheck.Learned{RatePPM: -w.rate(), RateSigmaPPM: 0.5}
	if edge, shows, ok := w.rtc.NextEdge(at.Add(time.Second)); ok && !w.s.NoRTC {
		l.RTC = &clockcheck.LearnedRTC{At: edge, OffsetS: shows.Sub(edge).Seconds(), SigmaS: 0.01, RatePPM: w.s.RTC.PPM,
			RateSigmaPPM: 0.5, DateProved: true, Ancestry: []string{"server"}}
	}
	return l
}

// Second lets a second of true time pass and returns the snapshot at its end. A
// chapter that cuts the power or sends the computer to sleep passes whole.
func (w *World) Second() *status.Snapshot {
	scene := w.turn()
	begin, end := w.utc, w.utc.Add(time.Second)
	if !w.s.NoReceiver {
		w.receive(scene, end)
	}
	w.ask()
	w.listen()
	w.to(end)
	w.warm()
	w.pulse(scene)
	w.writeRTC()
	w.readRTC(begin)
	snap := w.judge()
	if w.steer() {
		snap = w.judge()
		w.steer()
	}
	w.keep()
	w.overhear(snap)
	w.said = snap.Clock.ErrorS.V
	return snap
}

// judge lets the station judge now, and shows what came of it.
func (w *World) judge() *status.Snapshot {
	snap := w.Station.Tick(w.tick())
	if w.onSnapshot != nil {
		w.onSnapshot(snap)
	}
	return snap
}

// OnSnapshot names a function that is shown each snapshot, also those that a step
// supersedes at once.
func (w *World) OnSnapshot(f func(*status.Snapshot)) { w.onSnapshot = f }

// BootID names the present boot of the machine.
func (w *World) BootID() string { return w.cfg.BootID }

// Kept is what the state file holds.
func (w *World) Kept() clockcheck.Learned { return w.kept.learned }

// keep writes the state file when the service would.
func (w *World) keep() {
	if w.saving.Due(w.local, w.Station.Urgent()) {
		w.save()
	}
}

func (w *World) save() {
	former := w.kept.learned
	w.kept.former = &former
	w.kept.learned, w.kept.steering = w.Station.Learned(), w.Station.LearnedSteering()
	w.kept.place = w.Station.LastPlace()
	w.kept.writes++
	w.saving.Saved(w.local)
}

// Lasts is how long the verdicts of the last second would last, at most until, if every
// reading stopped now, s by mode (station.Lasts).
func (w *World) Lasts(until float64) []float64 { return w.Station.Lasts(w.tick(), until) }

// StateWrites is how often the state file was written.
func (w *World) StateWrites() int { return w.kept.writes }

// Elapsed is true time since the start.
func (w *World) Elapsed() time.Duration { return w.utc.Sub(w.start) }

// UTC is the true UTC now.
func (w *World) UTC() timescale.UTC { return w.utc }

// Local is the instant reached, on the local timescale.
func (w *World) Local() timescale.Local { return w.local }

// SystemError is the true error of the system clock, s.
func (w *World) SystemError() float64 { return w.system / 1e9 }

func (w *World) tick() station.Tick {
	return station.Tick{Local: w.local, System: w.utc.Add(time.Duration(w.system)),
		BoottimeS: (w.local.Sub(0) + w.asleep).Seconds(), AsleepS: w.asleep.Seconds(), Kernel: w.readKernel()}
}

// to moves true time, and the oscillator with it.
func (w *World) to(utc timescale.UTC) {
	d := float64(utc.Sub(w.utc))
	if d <= 0 {
		return
	}
	w.walkPPM += w.s.Osc.WanderPPM * w.rng.NormFloat64() * math.Sqrt(d/3600e9)
	gained := d*w.rate()*1e-6 + w.s.Osc.NoisePPM*1e3*w.rng.NormFloat64()*math.Sqrt(d/1e9)
	passed := d + gained + w.frac
	whole := math.Floor(passed)
	w.frac = passed - whole
	w.local += timescale.Local(whole)
	w.utc = utc
	w.transmit(time.Duration(d))
	w.run(gained + (d+gained)*w.slewPPM*1e-6)
}
