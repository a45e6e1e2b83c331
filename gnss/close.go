package gnss

import "time"

// timeless makes an epoch without a time of what is pending, which holds at least
// one sentence of strongTypes.
func (a *assembler) timeless(d *Decoder) {
	if a.open.live {
		a.close(d)
	}
	s := &a.pending[0]
	for i := range a.pending { // a date from before the burst may be waiting too
		if s = &a.pending[i]; s.kind&strongTypes != 0 {
			break
		}
	}
	a.begin(s, nil)
	for i := range a.pending {
		if s.at.Sub(a.pending[i].at) < pendingAge {
			a.open.merge(&a.pending[i])
		}
	}
	a.pending = a.pending[:0]
	a.close(d)
}

// begin opens an epoch with its first sentence.
func (a *assembler) begin(s *said, st *stream) {
	a.seq++
	a.open = draft{live: true, tod: s.tod, weak: s.kind == TypeZDA, pos: s.pos}
	e := &a.open.Epoch
	e.Quality, e.Satellites, e.SpeedMS = -1, -1, -1
	e.HasTime, e.Backlog = st != nil, a.backlog
	e.Arrival, e.FirstType = s.at, s.addr
	e.TimeArrival, e.TimeType = s.at, s.addr
	if a.burst.have && !a.burst.used {
		e.Arrival, e.FirstType, a.open.pos = a.burst.at, a.burst.addr, a.burst.pos
		e.AfterGap = a.gapBefore
		a.burst.used = true
	}
}

// join adds a sentence, and what was waiting for it, to the open epoch.
func (a *assembler) join(s *said, st *stream) {
	for i := range a.pending {
		if s.at.Sub(a.pending[i].at) < pendingAge {
			a.open.merge(&a.pending[i])
		}
	}
	a.pending = a.pending[:0]
	a.open.merge(s)
	a.open.weak = a.open.weak && s.kind == TypeZDA
	a.gapped, a.burst.used = false, true
	st.tod, st.seq = s.tod, a.seq
}

// find returns the latest of the recent epochs that named this time of day.
func (a *assembler) find(tod time.Duration) *instant {
	for k := 1; k <= min(a.nrecent, len(a.recent)); k++ {
		if r := &a.recent[(a.nrecent-k)%len(a.recent)]; r.tod == tod {
			return r
		}
	}
	return nil
}

// latest is the entry of the epoch finished last; there must be one.
func (a *assembler) latest() *instant { return &a.recent[(a.nrecent-1)%len(a.recent)] }

// close finishes the open epoch and queues it.
func (a *assembler) close(d *Decoder) {
	var before *instant
	if a.nrecent > 0 {
		before = a.latest()
	}
	e := a.open.finish(before)
	a.open.live = false
	if !e.HasTime {
		d.tally.noTime++
		d.queue = append(d.queue, e)
		return
	}
	a.expect = e.Types & parsedTypes &^ TypeGST
	day := date{e.Year, e.Month, e.Day, e.YearDigits}
	r := a.find(a.open.tod)
	if r != nil && (r.date.digits == 0 || day.digits == 0 || r.date.same(day)) && a.open.TimeArrival.Sub(r.at) < 12*time.Hour {
		e.Repeated = true
		d.tally.repeated++
	} else {
		d.tally.epochs++
		if e.Valid {
			d.tally.valid++
		}
	}
	a.recent[a.nrecent%len(a.recent)] = instant{a.open.tod, day, e.TimeArrival, e.OldDate}
	a.nrecent++
	d.queue = append(d.queue, e)
}

// stream finds the entry of a talker and type, or makes one; when the table is
// full the last entry is shared.
func (a *assembler) stream(addr [5]byte) *stream {
	for i := range a.streams[:a.nstreams] {
		if a.streams[i].addr == addr {
			return &a.streams[i]
		}
	}
	if a.nstreams < len(a.streams) {
		a.nstreams++
	}
	st := &a.streams[a.nstreams-1]
	*st = stream{addr: addr, tod: -1}
	return st
}
