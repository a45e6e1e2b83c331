package lab

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"noonmark/clockcheck"
	"noonmark/status"
)

// Expectation is something that must hold in a part of the story: at every second
// of it, or at one at least (once).
type Expectation struct {
	Text string // as the file says it
	mode string
	when window
	once bool
	test func(*status.Snapshot) (ok bool, is string)
	off  float64 // s: the published error may be so far from the truth at most; 0 = not asked
}

// expect reads an expectation: [once] WHAT WHEN.
func (c *Case) expect(l *line) error {
	e := Expectation{Text: strings.ReplaceAll(strings.Join(l.words, " "), " ,", ",")}
	e.once = l.is("once")
	var err error
	switch {
	case l.is("basis"):
		e.test, err = oneOf(l, "a basis", bases, func(s *status.Snapshot) string { return s.Clock.Basis })
	case l.is("clock says"):
		e.test, err = says(l, func(s *status.Snapshot) string { return s.Clock.Because })
	case l.is("receiver"):
		e.test, err = trust(l, "receiver")
	case l.is("hardware clock"):
		e.test, err = trust(l, "hardware clock")
	case l.is("crowd"):
		e.test, err = trust(l, "crowd")
	case l.is("pulse"):
		e.test, err = trust(l, "pulse")
	case l.is("server"):
		var name string
		if name, err = l.word("the server's name"); err == nil {
			e.test, err = trust(l, name)
		}
	case l.is("not proved"):
		e.test, err = proved(l, false)
	case l.is("proved"):
		e.test, err = proved(l, true)
	case l.is("event"):
		e.test, err = happened(l)
	case l.is("bound below"):
		e.test, err = below(l, func(c *status.Clock) status.Float { return c.BoundS })
	case l.is("guard below"):
		e.test, err = below(l, func(c *status.Clock) status.Float { return c.GuardS })
	case l.is("error below"):
		e.test, err = below(l, func(c *status.Clock) status.Float { return status.Known(math.Abs(c.ErrorS.V)) })
	case l.is("estimate off below"):
		e.off, err = l.number("the limit", "s")
	default:
		err = e.verdict(l)
	}
	if err != nil {
		return err
	}
	e.when, err = c.when(l)
	c.Expect = append(c.Expect, e)
	return err
}

var (
	bases    = []string{"pps", "gnss", "network", "operator", "rtc", "holdover", "none"}
	trusts   = []string{"silent", "warming", "trusted", "doubted", "faulty"}
	verdicts = []string{"within", "outside", "borderline", "unknown"}
	proofs   = []string{"date", "second", "latency"}
)

type test = func(*status.Snapshot) (bool, string)

// oneOf reads: [not] VALUE [or VALUE …].
func oneOf(l *line, what string, known []string, get func(*status.Snapshot) string) (test, error) {
	not := l.is("not")
	var want []string
	for {
		w, err := l.word(what)
		if err != nil {
			return nil, err
		}
		if !slices.Contains(known, w) {
			return nil, fmt.Errorf("%q is not %s: %s", w, what, strings.Join(known, ", "))
		}
		if want = append(want, w); !l.is("or") {
			break
		}
	}
	return func(s *status.Snapshot) (bool, string) {
		is := get(s)
		return slices.Contains(want, is) != not, is
	}, nil
}

func (e *Expectation) verdict(l *line) error {
	w, err := l.word("what is expected")
	if err != nil {
		return err
	}
	m, err := clockcheck.ModeNamed(w)
	if err != nil {
		return fmt.Errorf("%q is neither a mode nor anything else that can be expected", w)
	}
	e.mode = m.Name
	e.test, err = oneOf(l, "a verdict", verdicts, func(s *status.Snapshot) string {
		for _, j := range s.Modes {
			if j.Mode == m.Name {
				return j.Verdict
			}
		}
		return ""
	})
	return err
}

func reference(s *status.Snapshot, name string) status.Reference {
	for _, r := range s.References {
		if r.Name == name {
			return r
		}
	}
	return status.Reference{}
}

func trust(l *line, name string) (test, error) {
	if l.is("says") {
		return says(l, func(s *status.Snapshot) string { return reference(s, name).Because })
	}
	return oneOf(l, "a trust", trusts, func(s *status.Snapshot) string {
		r := reference(s, name)
		return r.Trust
	})
}

func says(l *line, get func(*status.Snapshot) string) (test, error) {
	want, err := l.quoted()
	return func(s *status.Snapshot) (bool, string) {
		is := get(s)
		return strings.Contains(is, want), is
	}, err
}

func proved(l *line, want bool) (test, error) {
	w, err := l.word("what is proved")
	if err == nil && !slices.Contains(proofs, w) {
		err = fmt.Errorf("%q cannot be proved: %s", w, strings.Join(proofs, ", "))
	}
	return func(s *status.Snapshot) (bool, string) {
		return slices.Contains(s.Clock.Proved, w) == want, "proved: " + strings.Join(s.Clock.Proved, ", ")
	}, err
}

func happened(l *line) (test, error) {
	kind, err := l.word("the kind of event")
	return func(s *status.Snapshot) (bool, string) {
		return slices.ContainsFunc(s.Events, func(e status.Event) bool { return e.Kind == kind }), "no such event"
	}, err
}

func below(l *line, get func(*status.Clock) status.Float) (test, error) {
	v, err := l.number("the limit", "s")
	return func(s *status.Snapshot) (bool, string) {
		is := get(&s.Clock)
		return is.OK && is.V < v, fmt.Sprintf("%.4f s", is.V)
	}, err
}

// when reads: always | at T | before T | from T | from T to T.
func (c *Case) when(l *line) (window, error) {
	switch {
	case l.is("always"):
		return window{}, nil
	case l.is("at"):
		t, err := l.clock("the instant")
		return window{t, t}, err
	case l.is("before"):
		t, err := l.clock("the instant")
		return window{0, t}, err
	case !l.is("from"):
		return window{}, fmt.Errorf("say when: always, at 0:30, before 0:30, from 0:30, or from 0:30 to 1:00")
	}
	from, err := l.clock("the begin")
	if err != nil || !l.is("to") {
		return window{from: from}, err
	}
	to, err := l.clock("the end")
	if err == nil && to < from {
		err = fmt.Errorf("the end is before the begin")
	}
	return window{from, to}, err
}

// checker follows one expectation through a night.
type checker struct {
	*Expectation
	seen   bool // the window had a second at all
	held   bool
	broken bool
	is     string
	at     time.Duration
}

// Break is an expectation that did not hold.
type Break struct {
	Expectation string        `json:"expectation"`
	At          time.Duration `json:"at_ns"`
	Is          string        `json:"is"`
}

// look takes a second; truth is the system clock's true error then, s.
func (k *checker) look(at time.Duration, s *status.Snapshot, truth float64) {
	// Seconds end a little after the instant named, and after a power-off late.
	if at < k.when.from || at > k.when.to+time.Second && k.seen || k.broken {
		return
	}
	if k.when.from == k.when.to && k.seen {
		return
	}
	k.seen = true
	var ok bool
	var is string
	if e := s.Clock.ErrorS; k.off > 0 {
		ok, is = e.OK && math.Abs(e.V-truth) < k.off, fmt.Sprintf("%.4f s off", e.V-truth)
	} else {
		ok, is = k.test(s)
	}
	switch {
	case ok:
		k.held = true
	case !k.once:
		k.broken, k.at, k.is = true, at, is
	default:
		k.at, k.is = at, is
	}
}

func (k *checker) result() (Break, bool) {
	if k.broken || !k.seen || k.once && !k.held {
		return Break{k.Text, k.at, k.is}, false
	}
	return Break{}, true
}
