// Package station is the one place where noonmark's packages meet. It turns a
// receiver's bytes, readings of the hardware clock and answers of time servers
// into the judge's input, and the judgement into a snapshot to publish.
//
// A Station is a value machine: no I/O, no goroutine, no clock. The service, the
// demo and the replay drive the very same code; whether time is real is theirs
// to know. It belongs to one goroutine.
package station

import (
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"noonmark/clockcheck"
	"noonmark/clockcheck/leaps"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/gnss"
	"noonmark/status"
)

// Config is what a station is told once.
type Config struct {
	Judge         clockcheck.Config
	MakeJudge     MakeJudge     `json:"-"` // for tests and the laboratory; nil = banked.New
	BuildDate     timescale.UTC // places two-digit years; 0 = 1980 to 2079
	Live          bool          // the clock judged is this machine's own, now
	BootID        string
	InUse         string        // mode in use, "" = none named
	LocatorLength int           // most characters published; fewer coarsen every coordinate
	Steering      string        // what is done to the clock, for the status, where Steer is nil
	Steer         *steer.Config // how to steer the clock, bar Leaps; nil = only watch it
	Leaps         *leaps.Table  // for the kernel and for the time service; nil = not known
	NoChecksums   bool          // take sentences without a checksum (old captures)
	Record        func(*Input)  `json:"-"` // is shown each input before it is taken, and keeps nothing of it; nil = nobody is
}

// Tick is this machine's clocks read at one instant.
type Tick struct {
	Local     timescale.Local
	System    timescale.UTC
	BoottimeS float64 // CLOCK_BOOTTIME, s
	AsleepS   float64 // CLOCK_BOOTTIME − CLOCK_MONOTONIC, s
	// Width is that of the bracket they were read in: System may belong to any instant
	// within Width/2 of Local.
	Width time.Duration `json:",omitempty"`
	// Kernel is what the kernel says of the system clock; nil = it was not asked this
	// time, and then nothing is done to the clock.
	Kernel *steer.Kernel
	Read   timescale.Local `json:",omitempty"` // by when Kernel had been read; 0 = at Local
}

// Source describes an opened receiver.
type Source struct {
	Device   string
	Identity string // of the hardware, as far as known
	Baud     int    // 0 where there is none
	Relay    bool   // comes over a network: may be seconds late
}

// staleAfter is how old a status may be before readers distrust it, s.
const staleAfter = 3

// maxEvents is how many past events a snapshot carries.
const maxEvents = 20

// Station holds the state. Make one with New.
type Station struct {
	cfg           Config
	judge         *withdrawable
	dec           *gnss.Decoder
	src           Source
	open          bool
	keyed         bool
	lastTOD       time.Duration
	lastCame      timescale.Local
	step          time.Duration // between epochs
	full          int           // how much bursts fill the line
	line          line
	firstSentence firstSentence
	heardOnce     bool
	stale         bool
	place         place
	judgement     clockcheck.Judgement
	events        []clockcheck.Event
	asleep        float64
	ticked        bool
	former        *clockcheck.Held // what the run before knew
	early         []netref.Reading // answers before the first tick
	battery       string           // of the hardware clock, as it says; "" = cannot tell
	snap          status.Snapshot
	advice        status.Advice // of snap
	onEpoch       func(*gnss.Epoch)
	leapEnd       timescale.UTC // end of the month for which a leap second was announced; see Served
	steer         steering
	rtcReadings   int             // of the hardware clock in this run; enough where it cannot be read
	began         timescale.Local // the first Tick; 0 = none yet
}

// New returns a station that knows what was learned before.
func New(cfg Config, learned clockcheck.Learned) *Station {
	return &Station{cfg: cfg, judge: newWithdrawable(&cfg, learned), former: learned.Held, place: place{max: cfg.LocatorLength}, steer: newSteering(&cfg)}
}

// OnEpoch names a function that is shown each epoch (for counting in a replay).
func (s *Station) OnEpoch(f func(*gnss.Epoch)) { s.onEpoch = f }

// takeOpened says that a receiver's port was opened at an instant: what it proved
// before counts no more.
func (s *Station) takeOpened(src Source, at timescale.Local) {
	s.src, s.open, s.keyed, s.heardOnce, s.full, s.line, s.firstSentence = src, true, false, false, 0, line{}, firstSentence{}
	s.dec = gnss.NewDecoder(gnss.Config{Baud: src.Baud, BuildDate: s.cfg.BuildDate, AcceptUnchecked: s.cfg.NoChecksums})
	s.dec.Discard(at)
	s.judge.ReceiverOpened("", s.link())
}

func (s *Station) link() clockcheck.Link {
	if s.src.Relay {
		return clockcheck.Relay
	}
	return clockcheck.Serial
}

// takeHeard says that sentences begin to come in at this speed of the line, in bits a
// second: for the first time, or again on a port that stayed open while Lost was said of
// its receiver. What is heard then has been switched on anew, for all we know.
func (s *Station) takeHeard(baud int, at timescale.Local) {
	switch {
	case !s.open:
		src := s.src
		src.Baud = baud
		s.takeOpened(src, at)
	case baud != s.src.Baud:
		s.src.Baud = baud
		s.dec.SetBaud(baud)
	}
}

// Read is what one read of the receiver's port returned.
type Read struct {
	At      timescale.Local // when the read returned
	Flowing bool            // no silence came before: the reader rested, the line did not
	Stale   bool            // the bytes had been waiting: no evidence of time
}

// takeBytes takes what a read returned.
func (s *Station) takeBytes(p []byte, r Read) {
	if !s.open {
		return
	}
	s.stale = r.Stale
	s.line.bytes += len(p)
	if r.Flowing {
		s.dec.Continue(p, r.At)
	} else {
		s.dec.Feed(p, r.At)
	}
	s.drain()
}

// takeLost says that the receiver's port is gone or is not to be had, or that nothing comes
// from it, and why.
func (s *Station) takeLost(why string, at timescale.Local) {
	why = sentence(why)
	if s.open {
		s.dec.Flush(at.Add(time.Second))
		s.drain()
		s.note(at, "receiver-lost", why)
	}
	s.open = false
	s.judge.ReceiverLost(why)
}

// sentence makes a person's sentence of a reason: a capital in front, a stop behind.
func sentence(why string) string {
	if why == "" {
		return why
	}
	first, n := utf8.DecodeRuneInString(why)
	why = string(unicode.ToUpper(first)) + why[n:]
	if strings.HasSuffix(why, ".") || strings.HasSuffix(why, ")") {
		return why
	}
	return why + "."
}

// takeKernelWritesRTC says that the kernel's own writes to the hardware clock are on.
func (s *Station) takeKernelWritesRTC(on bool) { s.judge.KernelWritesRTC(on) }

// takeTemperature takes a reading of a thermometer in or beside the computer.
func (s *Station) takeTemperature(r clockcheck.Temperature) { s.judge.Temperature(&r) }

// ofThisBoot tells whether the run before knew something in this boot.
func (s *Station) ofThisBoot() bool {
	return s.former != nil && s.former.BootID != "" && s.former.BootID == s.cfg.BootID
}

// takeNetwork takes a server's answer. Before the first tick nobody knows whether what the run
// before knew still counts (the machine may have slept): an answer waits for that, else a liar
// who speaks first would be all that is known.
func (s *Station) takeNetwork(r netref.Reading) {
	if !s.ticked && s.ofThisBoot() {
		if len(s.early) < clockcheck.MaxServers {
			s.early = append(s.early, r)
		}
		return
	}
	s.judge.Network(&clockcheck.Network{Server: r.Server, At: r.At, UTC: r.UTC, Bound: r.Bound,
		Upstream: clockcheck.Upstream{ID: r.ID, Port: int(r.Port), Follows: r.Follows, Stratum: r.Stratum, Leap: r.Leap}})
}

// Ahead is what the error and the guard would be t seconds from the last Tick if
// no reading ever came again, s; ok is false while no guard is known.
func (s *Station) Ahead(t float64) (err, guard float64, ok bool) {
	if !s.judgement.Guarded {
		return 0, 0, false
	}
	err, guard = s.judge.Ahead(s.judgement.Error, t)
	return err, math.Max(guard, s.judgement.Bound), true
}

// Lasts is how long the verdicts of the last Tick would last, at most until, if every
// reading stopped now, s by mode. For the laboratory.
func (s *Station) Lasts(t Tick, until float64) []float64 {
	return s.judge.counts.Lasts(t.Local, t.System, &s.judgement, until)
}

// Satellites appends what the receiver last said to be in view.
func (s *Station) Satellites(dst []gnss.Satellite) []gnss.Satellite {
	if !s.open {
		return dst
	}
	return s.dec.Satellites(dst)
}

// Urgent tells, once, that what is kept would mislead the next start.
func (s *Station) Urgent() bool { return s.judge.Urgent() }

// Learned is what is worth keeping over a power-off, and over a restart of the program.
func (s *Station) Learned() clockcheck.Learned {
	l := s.judge.Learned()
	for _, h := range []*clockcheck.Held{l.Held, l.Without.Held()} {
		if h != nil {
			h.BootID, h.AsleepS = s.cfg.BootID, s.asleep
		}
	}
	return l
}

func (s *Station) note(at timescale.Local, kind, text string) {
	s.events = append(s.events, clockcheck.Event{At: at, Kind: kind, Text: text})
}
