package station

import (
	"noonmark/clockcheck"
	"noonmark/clockcheck/banked"
	"noonmark/clockcheck/timescale"
)

// Rules of taking a mark back.
//
//   - What a mark has changed cannot be taken out of a judge: it is in the estimate, in the
//     receiver's latency, in who was outvoted. So from each mark on another judge runs
//     beside the one that counts. It hears all that this one hears but that mark and later
//     ones; taking the mark back is to believe it from then on. It knows exactly what would
//     be known, with its own doubts.
//   - The last mark is taken back first: without an earlier one, a later one would have
//     been placed elsewhere.
//   - What was done to the clocks with a mark's help is no evidence for whoever did not
//     hear it.
//   - Over a restart the newest such judge is kept; over a power-off none.

// What is said of taking a mark back.
const (
	TakenBack = "The last mark is taken back, with all that was learned from it."
	NoMark    = "there is no mark to take back: none was made since the computer started, or each has been taken back"
)

// maxAside: so many marks can be taken back, the newest ones. Each costs a judge's tick a second.
const maxAside = 3

// aside is a judge that did not hear a mark, nor any after it.
type aside struct {
	judge *banked.Judge
	name  string          // of the mark, as a reference
	at    timescale.Local // when it was made
	out   clockcheck.Judgement
}

// withdrawable is the judge that counts, which has heard all, and those beside it, the
// newest mark's last.
type withdrawable struct {
	counts *banked.Judge
	beside []*aside
	kernel bool // the kernel's writes to the hardware clock are on
	urgent bool
	events []clockcheck.Event // of those beside it; nobody reads them
}

// newWithdrawable takes up what was learned, and what was kept of a judge beside in the
// same boot.
func newWithdrawable(cfg *Config, learned clockcheck.Learned) *withdrawable {
	w, without, h := &withdrawable{}, learned.Without, learned.Held
	learned.Without = nil
	w.counts = cfg.judge(learned)
	if without != nil && h != nil && h.BootID != "" && h.BootID == cfg.BootID {
		w.beside = append(w.beside, &aside{judge: cfg.judge(without.Learned), name: without.Name, at: without.At})
	}
	return w
}

// all calls do for each judge.
func (w *withdrawable) all(do func(*banked.Judge)) {
	do(w.counts)
	for _, a := range w.beside {
		do(a.judge)
	}
}

// Mark takes a mark, and leaves behind a judge that did not hear it.
func (w *withdrawable) Mark(m *clockcheck.Mark) bool {
	var before *banked.Judge
	if !m.OurOwn {
		before = w.counts.Clone()
	}
	if !w.counts.Mark(m) {
		return false
	}
	if before != nil {
		if w.kernel {
			before.WroteRTC() // with the help of what it did not hear
		}
		if w.beside = append(w.beside, &aside{judge: before, name: clockcheck.MarkName(m.Borrowed), at: m.At}); len(w.beside) > maxAside {
			w.beside = w.beside[1:]
		}
	}
	return true
}

// withdraw takes the newest mark back and names it; "" = there is none.
func (w *withdrawable) withdraw() (name string, at timescale.Local) {
	if name, at = w.newest(); name != "" {
		n := len(w.beside) - 1
		w.counts, w.beside, w.urgent = w.beside[n].judge, w.beside[:n], true
	}
	return name, at
}

// newest is the mark that can be taken back, "" = none.
func (w *withdrawable) newest() (name string, at timescale.Local) {
	if n := len(w.beside); n > 0 {
		return w.beside[n-1].name, w.beside[n-1].at
	}
	return "", 0
}

// WroteRTC says that this program has set the hardware clock, by what the judge knows
// that counts.
func (w *withdrawable) WroteRTC() { w.all((*banked.Judge).WroteRTC) }

// KernelWritesRTC says whether the kernel sets the hardware clock to the system clock.
func (w *withdrawable) KernelWritesRTC(on bool) {
	w.all(func(j *banked.Judge) { j.KernelWritesRTC(on) })
	if on && !w.kernel {
		for _, a := range w.beside {
			a.judge.WroteRTC()
		}
	}
	w.kernel = on
}

// Judge judges. Those beside judge too: a verdict of theirs rises as slowly.
func (w *withdrawable) Judge(now timescale.Local, system timescale.UTC, dst *clockcheck.Judgement) {
	w.counts.Judge(now, system, dst)
	for _, a := range w.beside {
		a.judge.Judge(now, system, &a.out)
		w.events = a.judge.Events(w.events[:0])
	}
}

// Urgent tells, once, that what is kept would mislead the next start.
func (w *withdrawable) Urgent() bool {
	u := w.counts.Urgent() || w.urgent
	w.urgent = false
	return u
}

// Learned is what is worth keeping, and what would be without the newest mark.
func (w *withdrawable) Learned() clockcheck.Learned {
	l := w.counts.Learned()
	if n := len(w.beside); n > 0 {
		a := w.beside[n-1]
		l.Without = &clockcheck.WithoutMark{Name: a.name, At: a.at, Learned: a.judge.Learned()}
	}
	return l
}
