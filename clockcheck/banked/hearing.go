package banked

import (
	"fmt"
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/explain"
	"noonmark/clockcheck/timescale"
)

// What the station's own radio heard.

// Air takes what the station's own radio heard; it reports whether that was enough.
func (j *Judge) Air(a *clockcheck.Air) bool {
	r, ok := j.crowds.Take(a)
	if !ok {
		return false
	}
	j.heard[index(r.Source == bank.Station)] = *a
	if !j.placeable(&r) {
		j.waiting.keep(hearing{*a, r})
		return false
	}
	j.place(&hearing{*a, r})
	return true
}

// place lays a hearing against what is known.
func (j *Judge) place(h *hearing) {
	j.air[index(h.r.Source == bank.Station)] = h.a
	j.bank.Hear(&h.r)
	j.changed(h.a.At, h.r.Source)
	j.noteAir(&h.a)
}

// hearing is what was heard, as it is told and as a reading.
type hearing struct {
	a clockcheck.Air
	r bank.Reading
}

// waiting are the last hearings that had no place, the oldest first: UTC modulo a period tells
// nothing before somebody says in which period. The oscillator carries them to when somebody does.
type waiting struct {
	all [mostWaiting]hearing
	n   int
}

const (
	// mostWaiting: of FT8 these are two minutes, 8 · 15 s, each of the two crowds four times; the same
	// stations tell little again (package air). An assumption: more would narrow nothing.
	mostWaiting = 8
	// airLasts: so old a hearing is laid against what is known by now: rateUnlearned carries it by
	// 30 ppm · 10 min = 18 ms, a fifth of the least bound of a crowd (assumption: so little does not matter).
	airLasts = 10 * time.Minute
)

func (w *waiting) keep(h hearing) {
	if w.n == mostWaiting {
		w.n = copy(w.all[:], w.all[1:])
	}
	w.all[w.n] = h
	w.n++
}

// placeWaiting lays what waited against what is known, where that has a place for it by now.
func (j *Judge) placeWaiting(now timescale.Local) {
	was := j.waiting
	j.waiting.n = 0
	for i := range was.all[:was.n] {
		h := &was.all[i]
		age := now.Sub(h.a.At)
		switch {
		case age > airLasts:
		case !j.placeable(&h.r):
			j.waiting.keep(*h)
		default:
			carried := j.bank.Best().F.Sigma(estimate.Y) * age.Seconds()
			h.r.Var += carried * carried
			j.place(h)
		}
	}
}

// airQuiet: what the air says is an event so often at most (assumption; no verdict depends on it).
const airQuiet = 30 * time.Minute

// unset, s: a clock that is a day off was never set (assumption); no verdict depends on it.
const unset = 86400

// noteAir notes what was heard, by the clock as it was last seen.
func (j *Judge) noteAir(a *clockcheck.Air) {
	last := &j.noted[index(a.Source != clockcheck.Crowd)]
	if *last != 0 && a.At.Sub(*last) <= airQuiet {
		return
	}
	*last = a.At
	who := "Heard " + a.Source
	if a.Source == clockcheck.Crowd {
		who = fmt.Sprintf("Heard %d stations", a.Signals)
	}
	if j.system.set {
		e := j.airError(j.system.l1, j.system.s1, a)
		if math.Abs(e) > unset { // told once the clock is set
			*last = 0
			return
		}
		who = fmt.Sprintf("%s: the clock is %.2f s %s ± %.2f s", who, math.Abs(e), explain.FastOrSlow(e), a.Bound.Seconds())
		if a.Modulo > 0 && !j.bank.Proved().Second {
			who = fmt.Sprintf("%s, but for multiples of %g s", who, a.Modulo.Seconds())
		}
	}
	j.note(a.At, "air", who+".")
}

// placeable tells whether what is known modulo something has one place only by some track:
// each judges it by its own width.
func (j *Judge) placeable(r *bank.Reading) bool {
	if r.Modulo == 0 {
		return true
	}
	for i := range j.bank.Tracks() {
		if t := &j.bank.Tracks()[i]; j.bank.Alive(i) && t.Located && t.Places(r) {
			return true
		}
	}
	return false
}
