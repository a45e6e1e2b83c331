package receiver

import (
	"slices"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// keepLate keeps what an overrun epoch says: it is late by nobody knows how much, but never early.
func (r *Receiver) keepLate(e *clockcheck.GNSS, floor timescale.UTC) {
	switch {
	case r.Fault != Overrun || !e.Valid || e.Year == 0:
		r.lates = 0
		return
	case e.Repeated:
		return
	}
	utc, _, ok := r.dated(e, floor, nil)
	if r.Fault = Overrun; !ok {
		r.lates = 0
		return
	}
	copy(r.late[1:], r.late[:])
	r.late[0] = int64(utc) - int64(e.At)
	r.lates = min(r.lates+1, runLeast)
}

// NotBefore is what a stream that comes too late to tell UTC still says of it, at its last epoch: UTC − local, ns, is
// no less, but for the whole seconds that the receiver may lead. False while fewer than runLeast epochs in a row said it.
func (r *Receiver) NotBefore() (l Look, ok bool) {
	if r.lates < runLeast {
		return l, false
	}
	return Look{At: r.Heard, Z: slices.Min(r.late[:]), Var: jitterStart * jitterStart, Dated: true}, true
}
