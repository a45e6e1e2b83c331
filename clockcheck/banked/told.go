package banked

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// The events tell how the trust of a reference changes: the worse at once, the better too, but
// for one that was told to be better and was worse again soon after. Of such a restless one it
// is told when the evidence is clear. Only the events wait: status and verdicts do not.

// settled is how long a restless reference must be better. One that tips in one look of six, once
// a minute (assumption), would have tipped again by then but for 1 %: (5/6)²⁵, 4.6 nats.
const settled = 25 * 10 * time.Second

// told is what was told of a reference.
type told struct {
	trust    clockcheck.Trust
	fell     bool            // it was told to be worse
	bettered timescale.Local // when it was last told to be better after that; 0 = never
	better   timescale.Local // since when it is better than was told; 0 = it is not
	restless bool            // it was worse again soon after it was told to be better
}

// rank is how far a trust goes.
func rank(t clockcheck.Trust) int {
	switch t {
	case clockcheck.Trusted:
		return 2
	case clockcheck.Warming:
		return 1
	}
	return 0
}

// next takes the trust of now; it reports whether that is told.
func (t *told) next(now timescale.Local, trust clockcheck.Trust) bool {
	switch d := rank(trust) - rank(t.trust); {
	case trust == t.trust:
		t.better = 0
		return false
	case d <= 0:
		t.restless = t.restless || t.bettered != 0 && now.Sub(t.bettered) < settled
		t.fell = true
	case t.better == 0:
		t.better = now
		fallthrough
	default:
		if t.restless && now.Sub(t.better) < settled {
			return false
		}
		if t.restless = false; t.fell {
			t.bettered = now
		}
	}
	t.trust, t.better = trust, 0
	return true
}

// trusted notes how the trust of each reference has changed: of the receiver each change, of
// the others whether they are doubted.
func (j *Judge) trusted(now timescale.Local, all []clockcheck.Reference) {
	for i := range all {
		r := &all[i]
		t, met := j.trust[r.Name]
		was, tell := t, !met
		if met {
			tell = t.next(now, r.Trust)
		} else {
			t.trust = r.Trust
		}
		if t == was {
			continue
		}
		j.trust[r.Name] = t
		if tell && (i == 0 && met || i > 0 && (bad(r.Trust) || bad(was.trust))) {
			j.note(now, "trust-changed", capital(r.Name)+" "+string(r.Trust)+". "+r.Because)
		}
	}
}

func bad(t clockcheck.Trust) bool { return t == clockcheck.Doubted || t == clockcheck.Faulty }
