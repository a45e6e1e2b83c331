package hear

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/hostclock"
)

// pair is one instant on both clocks.
type pair = hostclock.Pair

// hearer is the command with its surroundings.
type hearer struct {
	out    io.Writer
	sample func() pair
	now    func() timescale.Local
	tell   func(control.Request) (control.Answer, error)
	// stepped is how long ago the system clock was stepped, as far as the service says; nil = it says nothing.
	stepped func() (ago time.Duration, ok bool)
}

// told is what is printed, as JSON, of one thing heard.
type told struct {
	Source  string          `json:"source"`
	Signals int             `json:"signals"`
	ErrorS  float64         `json:"error_s"` // system clock − UTC
	BoundS  float64         `json:"bound_s"`
	ModuloS float64         `json:"modulo_s"`
	Told    bool            `json:"service_told"`
	Service *control.Marked `json:"service"`
}

// deliver prints what was heard and tells the service, if there is one.
func (h *hearer) deliver(c cli.Hear, w claim) error {
	_, err := h.delivered(c, w)
	return err
}

func (h *hearer) delivered(c cli.Hear, w claim) (told, error) {
	t := told{Source: w.source, Signals: w.signals, ErrorS: round(w.error, 3), BoundS: round(w.bound, 3), ModuloS: w.modulo.Seconds()}
	if !c.JSON {
		say(h.out, "%s", w.sentence())
	}
	if c.Check {
		if !c.JSON {
			say(h.out, "Nothing else is done with it (--check).")
		}
		return t, h.print(c, t)
	}
	utc := w.at.System.Add(-time.Duration(w.error * 1e9))
	a, err := h.tell(control.Request{Do: "air", Air: &control.Air{BootID: hostclock.BootID(), LocalNS: w.at.Local, AsleepS: w.at.SuspendOffset.Seconds(),
		Source: w.source, UTC: utc, ModuloS: w.modulo.Seconds(), BoundS: w.bound, CommonS: w.common, Signals: w.signals}})
	switch {
	case errors.Is(err, control.ErrNoService):
		if !c.JSON {
			say(h.out, "No service is running, so that nothing else is done with it. To have the clock judged: "+config.Environment{Getenv: os.Getenv}.StartCommand())
		}
	case err != nil:
		return t, err
	default:
		t.Told, t.Service = true, a.Air
		if !c.JSON {
			say(h.out, "%s", answer(a.Air))
		}
	}
	return t, h.print(c, t)
}

func (h *hearer) print(c cli.Hear, t told) error {
	if !c.JSON {
		return nil
	}
	return json.NewEncoder(h.out).Encode(t)
}

// answer is what the service made of it.
func answer(m *control.Marked) string {
	switch {
	case m == nil:
		return "The service said nothing."
	case !m.Placed:
		return "The service cannot place it yet. The crowd tells the time modulo the mode's period; all else must be known to half of that."
	case m.Says != nil:
		return m.Says.Because + " " + m.Because
	}
	return m.Because
}
