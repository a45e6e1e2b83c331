package page

import (
	"errors"
	"fmt"
	"math"
	"net"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"noonmark/clockcheck/timescale"
)

// Rules of this file.
//
//   - Looking needs nothing; each thing done by hand needs the station's PIN.
//   - Instants come from the device as instants of this machine's own timescale,
//     with the half-width of the exchange that tied the two: the device's own
//     clock is used only where it is what is borrowed.
//   - The page judges nothing: what it takes goes to the judge as a reading.

// Hand is what can be done by hand. Its methods may be called from any goroutine
// at once; what they return is a sentence for a person.
type Hand interface {
	// Open checks the PIN of somebody at an address; it limits the guesses.
	Open(pin, from string) error
	// Signals are the radio time signals to choose from.
	Signals() []Signal
	// Mark takes taps on the minute tone of a time signal.
	Mark(Taps) (string, error)
	// Borrow takes the clock of a device as an operator's reference.
	Borrow(Borrowed) (string, error)
	// Timed are the modes whose offsets Offsets takes.
	Timed() []string
	// Offsets takes what a decoder on the station's own computer shows for other stations.
	Offsets(mode string, typed []string) (string, error)
	// Withdraw takes the newest of both back, with all that was learned from it.
	Withdraw() (string, error)
	// Use makes a mode the station's mode in use.
	Use(mode string) (string, error)
	// Resume takes the clock back from another program.
	Resume() (string, error)
}

// refusal is a sentence for a person.
type refusal string

func (r refusal) Error() string { return string(r) }

// Errors of Hand.Open.
const (
	ErrPIN  = refusal("That is not the station’s PIN: run noonmark pin on the station.")
	ErrWait = refusal("Too many wrong PINs: wait a minute.")
)

// Signal is a radio time signal.
type Signal struct{ ID, Name string }

// Taps are an operator's taps, one on each minute tone.
type Taps struct {
	Signal  string
	Reacts  bool              // tapped on hearing the tone; else with the count, on it
	At      []timescale.Local // ascending
	Slack   time.Duration     // half-width of the exchange with the device
	FirstAt timescale.UTC     // the minute of the first tap as the operator heard it; 0 = not said
}

// Borrowed is a device's clock.
type Borrowed struct {
	At     timescale.Local
	UTC    timescale.UTC // what the device's clock said at At
	Slack  time.Duration
	Source string // where the device took its time from: one of Sources
	Days   int    // since it last did, 0 to 365
	From   string // its address
}

// Sources of a device's time.
const (
	SourceNetwork   = "network"   // a telephone or data network
	SourceSatellite = "satellite" // a receiver of its own
	SourceHand      = "hand"      // somebody set it
	SourceStation   = "station"   // this station, or it is not known
)

const (
	maxForm    = 4 << 10
	maxTaps    = 20
	maxOffsets = 100
	maxSlack   = 2 * time.Second
	tapsKept   = 45 * time.Minute // older taps are no longer worth anything
)

func (p *Page) handRoutes() {
	if p.cfg.Hand == nil {
		return
	}
	own := http.NewCrossOriginProtection()
	for name, do := range map[string]func(*http.Request) (string, error){"mark": p.mark, "borrow": p.borrow, "use": p.use, "offsets": p.offsets,
		"withdraw": func(*http.Request) (string, error) { return p.cfg.Hand.Withdraw() },
		"resume":   func(*http.Request) (string, error) { return p.cfg.Hand.Resume() }} {
		p.mux.Handle("POST /hand/"+name, own.Handler(p.byHand(do)))
	}
}

// byHand checks the PIN, does what is asked and says what came of it.
func (p *Page) byHand(do func(*http.Request) (string, error)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, maxForm)
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		say := func(code int, text string) {
			w.WriteHeader(code)
			fmt.Fprintln(w, text)
		}
		if err := r.ParseForm(); err != nil {
			say(http.StatusBadRequest, "The form could not be read.")
			return
		}
		switch err := p.cfg.Hand.Open(r.PostForm.Get("pin"), remote(r)); {
		case errors.Is(err, ErrWait):
			w.Header().Set("Retry-After", "60")
			say(http.StatusTooManyRequests, err.Error())
			return
		case err != nil:
			say(http.StatusForbidden, sentence(err.Error()))
			return
		}
		text, err := do(r)
		if err != nil {
			say(http.StatusUnprocessableEntity, sentence(err.Error()))
			return
		}
		say(http.StatusOK, text)
	})
}

// sentence gives a reason a capital and a stop, and takes the package off it.
func sentence(why string) string {
	if name, rest, ok := strings.Cut(why, ": "); ok && name == strings.ToLower(name) && !strings.Contains(name, " ") {
		why = rest
	}
	first, n := utf8.DecodeRuneInString(why)
	why = string(unicode.ToUpper(first)) + why[n:]
	if strings.HasSuffix(why, ".") {
		return why
	}
	return why + "."
}

// remote is the address a request comes from, without its port.
func remote(r *http.Request) string {
	host, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		return r.RemoteAddr
	}
	return host
}

func (p *Page) mark(r *http.Request) (string, error) {
	t := Taps{Signal: r.PostForm.Get("signal"), Reacts: r.PostForm.Get("habit") == "react"}
	if habit := r.PostForm.Get("habit"); habit != "react" && habit != "count" {
		return "", refusal("Say how you tap: with the count, or on hearing the tone.")
	}
	var err error
	if t.Slack, err = slack(r); err != nil {
		return "", err
	}
	texts := strings.Split(r.PostForm.Get("taps"), ",")
	if len(texts) > maxTaps {
		return "", refusal(fmt.Sprintf("More than %d taps are not taken.", maxTaps))
	}
	for _, text := range texts {
		at, err := p.instant(text, tapsKept)
		if err != nil {
			return "", err
		}
		if n := len(t.At); n > 0 && at <= t.At[n-1] {
			return "", refusal("The taps are not in order: tap again.")
		}
		t.At = append(t.At, at)
	}
	if text := r.PostForm.Get("minute"); text != "" {
		first, err := time.Parse("2006-01-02T15:04", text)
		if err != nil {
			return "", refusal("The minute must be a date and time in UTC, such as 2031-02-03T04:05.")
		}
		t.FirstAt = timescale.UTCOf(first)
	}
	return p.cfg.Hand.Mark(t)
}

func (p *Page) borrow(r *http.Request) (string, error) {
	b := Borrowed{Source: r.PostForm.Get("source"), From: remote(r)}
	switch b.Source {
	case SourceNetwork, SourceSatellite, SourceHand, SourceStation:
	default:
		return "", refusal("Say where this device took its time from.")
	}
	var err error
	if b.Slack, err = slack(r); err != nil {
		return "", err
	}
	if b.At, err = p.instant(r.PostForm.Get("at"), time.Minute); err != nil {
		return "", err
	}
	ms, err := strconv.ParseFloat(r.PostForm.Get("utc"), 64)
	if err != nil || !(math.Abs(ms) < 4e12) { // the year 2096
		return "", refusal("The device’s time could not be read.")
	}
	b.UTC = timescale.UTC(ms * 1e6)
	if b.Days, err = strconv.Atoi(r.PostForm.Get("days")); err != nil || b.Days < 0 || b.Days > 365 {
		return "", refusal("Say how many days ago it took its time, 0 to 365.")
	}
	return p.cfg.Hand.Borrow(b)
}

// offsets takes typed ones, and those only that were read off by the clock that is judged.
func (p *Page) offsets(r *http.Request) (string, error) {
	mode, typed := r.PostForm.Get("mode"), strings.Fields(r.PostForm.Get("offsets"))
	switch {
	case !slices.Contains(p.cfg.Hand.Timed(), mode):
		return "", refusal("Say which mode the offsets are of.")
	case r.PostForm.Get("own") != "yes":
		return "", refusal("The decoder must run on the station’s own computer: another device has another clock.")
	case len(typed) > maxOffsets:
		return "", refusal(fmt.Sprintf("More than %d offsets are not taken.", maxOffsets))
	}
	return p.cfg.Hand.Offsets(mode, typed)
}

func (p *Page) use(r *http.Request) (string, error) {
	mode := p.known(r.PostForm.Get("mode"))
	if mode == "" {
		return "", refusal("That mode is not judged here.")
	}
	return p.cfg.Hand.Use(mode)
}

// instant reads milliseconds of this machine's own timescale, of the last while.
func (p *Page) instant(text string, last time.Duration) (timescale.Local, error) {
	ms, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || !(math.Abs(ms) < 1e15) {
		return 0, refusal("Tap on the tone first.")
	}
	at := timescale.Local(ms * 1e6)
	if age := p.cfg.Now().Sub(at); age < -time.Second || age > last {
		return 0, refusal("That is not an instant of the last while: begin again.")
	}
	return at, nil
}

func slack(r *http.Request) (time.Duration, error) {
	ms, err := strconv.ParseFloat(r.PostForm.Get("slack"), 64)
	if err != nil || !(ms >= 0) || ms > float64(maxSlack/time.Millisecond) {
		return 0, refusal("The exchange with this device is too slow to be of use: come nearer to the station.")
	}
	return time.Duration(ms * 1e6), nil
}
