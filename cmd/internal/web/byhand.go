package web

import (
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/marks"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/station"
	"noonmark/grid"
	"noonmark/status"
	"noonmark/status/page"
)

// handPatience is how long somebody at the page waits for the owner of the station.
const handPatience = 3 * time.Second

// HandConfig says how what is asked for at the page reaches the owner of the station.
type HandConfig struct {
	Unlock  func(pin, from string) error
	Owner   chan<- func()
	Station func() *station.Station
	// Local turns an instant of this machine's own timescale into the station's; the
	// owner calls it; nil = they are one.
	Local func(timescale.Local) timescale.Local
	Live  bool
	// Ours tells whether a device took its time from this station; nil = nobody can.
	Ours  func(address string) bool
	Gives bool // the time service is on
}

// ByHand does what is asked for at the page, on the loop that owns the station.
type ByHand struct {
	cfg HandConfig
	// The last snapshot and its instant; the owner's.
	snap *status.Snapshot
	last timescale.Local
}

func NewByHand(c HandConfig) *ByHand {
	if c.Local == nil {
		c.Local = func(l timescale.Local) timescale.Local { return l }
	}
	return &ByHand{cfg: c}
}

// OwnAddress tells an address of this machine: its browser's clock is the clock that
// is judged. What cannot be told is taken for one.
func OwnAddress(address string) bool {
	ip := net.ParseIP(strings.Split(address, "%")[0])
	addrs, err := net.InterfaceAddrs()
	if ip == nil || err != nil || ip.IsLoopback() {
		return true
	}
	for _, a := range addrs {
		if n, ok := a.(*net.IPNet); ok && n.IP.Equal(ip) {
			return true
		}
	}
	return false
}

var errBusy = errors.New("the station did not answer: try again")

// Saw keeps what the owner published last.
func (h *ByHand) Saw(s *status.Snapshot, at timescale.Local) { h.snap, h.last = s, at }

// At is the instant of the last snapshot.
func (h *ByHand) At() timescale.Local { return h.last }

func (h *ByHand) Open(pin, from string) error { return h.cfg.Unlock(pin, from) }

func (h *ByHand) Signals() []page.Signal {
	var out []page.Signal
	for _, s := range marks.Stations() {
		out = append(out, page.Signal{ID: s.Name, Name: fmt.Sprintf("%s, %s (%s kHz): %s", s.Name, s.Place, joined(s.KHz), s.Tone)})
	}
	return out
}

func joined(khz []int) string {
	text := ""
	for i, k := range khz {
		if i > 0 {
			text += ", "
		}
		text += fmt.Sprint(k)
	}
	return text
}

// onLoop has the owner do something and waits for it.
func (h *ByHand) onLoop(do func() (string, error)) (text string, err error) {
	type answer struct {
		text string
		err  error
	}
	done := make(chan answer, 1)
	late := time.After(handPatience)
	select {
	case h.cfg.Owner <- func() { text, err := do(); done <- answer{text, err} }:
	case <-late:
		return "", errBusy
	}
	select {
	case a := <-done:
		return a.text, a.err
	case <-late:
		return "", errBusy
	}
}

// Mark makes one mark of the taps.
func (h *ByHand) Mark(t page.Taps) (string, error) {
	signal, err := marks.Named(t.Signal)
	if err != nil {
		return "", err
	}
	return h.onLoop(func() (string, error) {
		if err := h.minute(signal, t); err != nil {
			return "", err
		}
		taps := marks.Taps{Each: time.Minute, Way: marks.Anticipate}
		if t.Reacts {
			taps.Way = marks.React
		}
		for _, at := range t.At {
			taps.At = append(taps.At, h.cfg.Local(at))
		}
		taps.Path, taps.PathBound = h.path(signal)
		r, err := marks.Average(taps)
		if err != nil {
			return "", err
		}
		bound := r.Bound + t.Slack
		if !h.cfg.Station().Mark(clockcheck.Mark{At: r.At, UTC: t.FirstAt, Bound: bound}) {
			return "", errors.New("which minute it was is not known: give the UTC of the first tap")
		}
		text := fmt.Sprintf("Marked to within ± %.2f s: %d taps used, spread %.2f s.", bound.Seconds(), r.Used, r.Spread.Seconds())
		if r.Dropped > 0 {
			text += fmt.Sprintf(" %d left out, too far from the others.", r.Dropped)
		}
		return text + " “Who tells the time” shows what it came to.", nil
	})
}

// Withdraw takes the newest mark back.
func (h *ByHand) Withdraw() (string, error) {
	return h.onLoop(func() (string, error) {
		if !h.cfg.Station().Withdraw(h.last) {
			return "", errors.New(station.NoMark)
		}
		return station.TakenBack, nil
	})
}

// minute refuses a minute in which the station sends no mark of UTC.
func (h *ByHand) minute(signal marks.Station, t page.Taps) error {
	first := t.FirstAt
	if s := h.snap; first == 0 && s != nil && s.Clock.ErrorS.OK && s.Written.SystemUTC.OK {
		judged := s.Written.SystemUTC.V.Add(-time.Duration(s.Clock.ErrorS.V * 1e9))
		// The minute nearest to the tap, as the judge will take it.
		first = judged.Add(h.cfg.Local(t.At[0]).Sub(h.last)).Add(30 * time.Second)
	}
	if first == 0 {
		return nil // the judge will say that it cannot be placed
	}
	return signal.Minute(first.Time().Minute())
}

// path is how long the signal is on its way here.
func (h *ByHand) path(signal marks.Station) (delay, bound time.Duration) {
	km := -1.0
	if s := h.snap; s != nil && s.Position != nil && s.Position.LatDeg.OK && s.Position.LonDeg.OK {
		here, err1 := grid.Degrees(s.Position.LatDeg.V, s.Position.LonDeg.V)
		there, err2 := grid.Degrees(signal.LatDeg, signal.LonDeg)
		if err1 == nil && err2 == nil {
			km = grid.Inverse(here, there).DistanceM / 1000
		}
	}
	return marks.Path(km, false)
}

// setByHand is how far off a clock may be that somebody set (a planning figure).
const setByHand = time.Minute

// Borrow takes a device's clock as an operator's reference.
func (h *ByHand) Borrow(b page.Borrowed) (string, error) {
	if !h.cfg.Live {
		return "", errors.New("the station's time is simulated: a real clock cannot be borrowed for it")
	}
	// Which device took its time from here cannot be told by its address: it may have
	// asked by another. So its owner must name another source.
	network := b.Source == page.SourceNetwork && h.cfg.Gives
	own := network || b.Source == page.SourceStation || h.cfg.Ours != nil && h.cfg.Ours(b.From)
	bound := marks.Borrowed(b.Slack, time.Duration(b.Days)*24*time.Hour)
	if b.Source == page.SourceHand {
		bound += setByHand
	}
	return h.onLoop(func() (string, error) {
		h.cfg.Station().Mark(clockcheck.Mark{At: h.cfg.Local(b.At), UTC: b.UTC, Bound: bound, Borrowed: true, OurOwn: own})
		if network {
			return "", errors.New("this station gives the time on its network. A device that took its time from a network may have it from here: " +
				"it is no witness. Use one that took its time from satellites itself, or that somebody set")
		}
		if own {
			return "", errors.New("this device has its time from this station, or may have: it is no witness")
		}
		return fmt.Sprintf("Borrowed to within ± %.2f s. “Who tells the time” shows what it came to.", bound.Seconds()), nil
	})
}

// Use makes a mode the one in use until the program ends.
func (h *ByHand) Use(mode string) (string, error) {
	return h.onLoop(func() (string, error) {
		h.cfg.Station().Use(mode)
		return "The mode in use is " + mode + " now. To keep it over a restart set modes.in_use in the settings.", nil
	})
}

// Resume takes the clock back from another program.
func (h *ByHand) Resume() (string, error) {
	return h.onLoop(func() (string, error) {
		if err := h.cfg.Station().Resume(h.last); err != nil {
			return "", err
		}
		return "Noonmark sets the clock again. Run noonmark preflight on the station to find the other program.", nil
	})
}
