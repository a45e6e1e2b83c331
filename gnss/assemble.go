package gnss

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// assembler puts sentences together into epochs. The rules are in the package
// comment.
type assembler struct {
	open    draft // the epoch being filled; live if open.live
	gapped  bool  // a silence came since the last sentence of the open epoch
	expect  Types // what the epoch before held: the open one is complete with these
	pending []said
	backlog bool // until the next silence

	burst     burstStart
	streams   [48]stream
	nstreams  int
	recent    [64]instant // the latest epochs, a ring
	nrecent   int
	seq       uint32
	strong    bool // a sentence of strongTypes has named a time,
	zdaSince  int  // and so many ZDA have come since the last one
	gapBefore bool // the present burst began after a silence
	guessed   bool // that silence is Flush's word only
}

// burstStart is the sentence a burst began with.
type burstStart struct {
	have bool
	used bool // an epoch has taken it
	at   timescale.Local
	pos  uint64
	addr [5]byte
}

// stream is one talker and type; each is compared with itself.
type stream struct {
	addr [5]byte
	tod  time.Duration // the time it named last
	seq  uint32        // the epoch it last went into
}

// instant is a time that an epoch named.
type instant struct {
	tod       time.Duration
	date      date
	at        timescale.Local
	dayBefore bool // with the date of the day before
}

const (
	maxPending = 16
	zdaAlone   = 3 // ZDA names the time when so many came without any stronger sentence
	pendingAge = 2 * time.Second
)

// beginBurst notes the first sentence of a burst.
func (a *assembler) beginBurst(s *said) {
	if !a.burst.have {
		a.burst = burstStart{have: true, at: s.at, pos: s.pos, addr: s.addr}
	}
}

// gap acts on a silence of length s.
func (a *assembler) gap(d *Decoder, s time.Duration) {
	if a.open.live && (s >= longGap || a.open.Types&parsedTypes&^TypeGST == a.expect|a.open.Types&parsedTypes&^TypeGST) {
		a.close(d)
	}
	for i := range a.pending {
		if a.pending[i].kind&strongTypes != 0 { // a receiver without the time
			a.timeless(d)
			break
		}
	}
	a.gapped, a.gapBefore, a.backlog = true, true, false
	a.burst.have, a.burst.used = false, false
}

// noGap takes back a silence that Flush saw and the line did not have: what comes
// now is the middle of a burst, and leads none.
func (a *assembler) noGap() {
	if a.guessed {
		a.burst, a.gapped = burstStart{have: true, used: true}, false
	}
}

// finish closes what is open, for the stream ends or begins anew.
func (a *assembler) finish(d *Decoder) {
	if a.open.live {
		a.close(d)
	}
	a.pending = a.pending[:0]
	a.burst, a.gapBefore, a.gapped = burstStart{}, false, false
}

// note counts a sentence that is not looked into as part of the open epoch.
func (a *assembler) note(s *said) {
	if a.open.live && !a.gapped {
		a.open.Types |= s.kind
		a.open.end = s.end
	}
}

// take puts a parsed sentence where it belongs.
func (a *assembler) take(d *Decoder, s *said) {
	st := a.stream(s.addr)
	switch {
	case s.kind == TypeZDA && s.hasTime:
		a.zdaSince++
		if !a.strong || a.zdaSince > zdaAlone || a.open.names(s.tod) {
			a.timed(d, s, st)
			return
		}
		a.lend(s)
	case s.kind == TypeGST && s.hasTime, s.kind == TypeZDA, s.kind == TypeGSA:
		a.loose(s)
	case s.hasTime:
		a.strong, a.zdaSince = true, 0
		a.timed(d, s, st)
	case s.noTime:
		a.lost(d, s, st)
	default: // a position without a place for the time
		a.loose(s)
	}
}

// loose takes a sentence that names no time for an epoch: it belongs to the open
// one, or after a silence to whichever comes next.
func (a *assembler) loose(s *said) {
	if a.open.live && !a.gapped {
		a.open.merge(s)
		return
	}
	a.wait(s)
}

// wait keeps a sentence for the next epoch; the oldest gives way.
func (a *assembler) wait(s *said) {
	if len(a.pending) == maxPending {
		copy(a.pending, a.pending[1:])
		a.pending = a.pending[:maxPending-1]
	}
	a.pending = append(a.pending, *s)
}

// lend takes a ZDA that only lends its date. Without silences nobody can tell
// whether it belongs to the epoch before or after, and with the date moved to
// the nearest day it is right for both.
func (a *assembler) lend(s *said) {
	if a.open.live && !a.gapped && a.open.zdaDate.digits == 0 {
		a.open.merge(s)
	}
	a.wait(s)
}

// lost takes a sentence whose time is empty: the receiver does not know it.
func (a *assembler) lost(d *Decoder, s *said, st *stream) {
	if a.open.live && !a.gapped && st.seq != a.seq {
		st.seq = a.seq
		a.open.merge(s)
		return
	}
	if a.open.live {
		a.close(d)
	}
	a.round(d, s, true)
	a.loose(s)
}

// timed takes a sentence that names the time of an epoch.
func (a *assembler) timed(d *Decoder, s *said, st *stream) {
	if a.open.names(s.tod) {
		if st.seq == a.seq {
			d.tally.skipped[skipRepeat]++
			return
		}
		a.join(s, st)
		return
	}
	if a.open.live && a.open.weak && s.kind&strongTypes != 0 && a.open.tod != s.tod {
		a.open.retime(s) // only a ZDA had named a time, and it is not that of the fix
		a.join(s, st)
		return
	}
	if r := a.find(s.tod); r != nil {
		stuck := st.tod == s.tod
		switch {
		case s.at.Sub(r.at) < copyTime && stuck:
			d.tally.skipped[skipRepeat]++
			return
		case s.at.Sub(r.at) < copyTime:
			st.tod = s.tod
			if r == a.latest() {
				a.expect |= s.kind & parsedTypes // it comes late: wait for it next time
			}
			d.tally.skipped[skipLate]++
			return
		case stuck && (a.open.live || r != a.latest()): // one talker stands still, another goes on
			d.tally.skipped[skipRepeat]++
			return
		}
	}
	a.round(d, s, false)
	fast := a.open.live && a.tooFast(s)
	if a.open.live {
		a.open.Backlog = a.open.Backlog || fast
		a.close(d)
	}
	a.begin(s, st)
	a.open.Backlog = a.open.Backlog || fast
	a.join(s, st)
}

// round makes an epoch of what a receiver without the time has said, if s begins
// its next round of the same sentences, without a silence between. The talker may
// change when the time becomes known (GP to GN), not before.
func (a *assembler) round(d *Decoder, s *said, sameTalker bool) {
	for i := range a.pending {
		p := &a.pending[i]
		if p.kind == s.kind && p.kind&strongTypes != 0 && (p.addr == s.addr || !sameTalker) {
			a.timeless(d)
			return
		}
	}
}

// tooFast notices that the times named run ahead of the bytes that name them,
// without a silence between: they come out of a buffer.
func (a *assembler) tooFast(s *said) bool {
	if a.gapped || !a.open.HasTime {
		return false
	}
	named, passed := s.tod-a.open.tod, s.at.Sub(a.open.TimeArrival)
	return named > 0 && named < time.Hour && named-passed > 300*time.Millisecond
}
