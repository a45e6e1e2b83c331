package clockcheck

import (
	"math"
	"slices"

	"noonmark/clockcheck/selection"
	"noonmark/clockcheck/timescale"
)

// serverSigma is the σ of a server's error as a share of its bound: then the 99 %
// bound is 1.03 of it, and the guard 1.6, whatever constant error the server has.
const serverSigma = 0.40

// server is what the judge knows of one time server.
type server struct {
	name     string
	at       timescale.Local
	bound    float64
	z        int64 // its UTC − local at at, ns
	agrees   bool
	outvoted bool
	upstream Upstream
}

// Network takes one answer of a server.
func (j *Judge) Network(r *Network) {
	s := j.serverNamed(r.Server)
	if s == nil {
		return
	}
	z := int64(r.UTC) - int64(r.At)
	s.at, s.bound, s.z, s.outvoted, s.upstream = r.At, r.Bound.Seconds(), z, false, r.Upstream
	bit := ancServer << j.family(j.indexOf(s))
	if !j.x.known {
		j.f.base, j.f.at = z, r.At
		j.f.start(0, sNo, sq(s.bound*serverSigma))
		j.x = known{known: true, dateProved: true, ancestry: bit, support: supportNetwork, netAt: r.At}
		s.agrees = true
		j.note(r.At, "started", "The time now comes from a network server.")
		return
	}
	j.f.advance(r.At)
	rel := j.rel(r.At, z)
	off, wrong := j.contradicted(s, r.At)
	if !wrong {
		wrong, off = !j.narrowSecond(r.At, claim{rel - s.bound, rel + s.bound}), rel
	} else if s.agrees {
		j.f.loosen(off) // x has followed it, nobody knows how far
	}
	if wrong {
		if s.agrees {
			j.note(r.At, "trust-changed", "The server "+s.name+" disagrees by "+seconds(off)+".")
		}
		s.agrees = false
		j.resolve(r.At)
		return
	}
	s.agrees = true
	j.x.netAt, j.x.dateProved = r.At, true
	j.x.ancestry |= bit
	if j.x.support == supportRTC || !j.receiverLive(r.At) {
		j.x.support = supportNetwork
	}
	if !j.receiverLive(r.At) && !j.pulseLive(r.At) {
		j.learnSlope(s.name, j.zRel(r.At, z), sq(s.bound/2))
	}
	j.updateByWitness(j.zRel(r.At, z), s.bound*serverSigma)
	j.resolve(r.At)
}

// updateByWitness updates x with what somebody else than the receiver says, z, known to sigma, s.
// Where that updateByWitness much, what is kept of before is worth nothing beside it: nobody may go
// back to it.
func (j *Judge) updateByWitness(z, sigma float64) {
	was := j.f
	j.f.measureCommon(z, sigma, j.on(RuleServerFloor))
	if j.f.sigma(sX) < 0.8*was.sigma(sX) || math.Abs(j.f.v[sX]-was.v[sX]) > j.f.sigma(sX) {
		j.watch = watch{}
	}
}

// narrowSecond lays an independent claim on x against the whole-second hypotheses.
// It reports whether any survives; where one does, the second is proved.
func (j *Judge) narrowSecond(at timescale.Local, c claim) bool {
	lo, hi := j.interval(guardZ)
	lo, hi = lo-float64(j.x.secLo), hi-float64(j.x.secHi)
	first, last, n := 0, 0, 0
	for s := j.x.secLo; s <= j.x.secHi; s++ {
		if (claim{lo + float64(s), hi + float64(s)}).meets(c) {
			if n == 0 {
				first = s
			}
			last = s
			n++
		}
	}
	if n == 0 {
		return false
	}
	was := j.x.secondProved()
	// The hypothesis nearest zero leads; the rest stay beside it.
	lead := min(max(0, first), last)
	j.shift(float64(lead))
	j.rx.leapsMissing -= lead
	if lead != 0 {
		j.forgetTies()
	}
	if j.rx.attached && j.rx.leapsMissing != 0 {
		j.rx.fault = fAhead
	}
	j.x.secLo, j.x.secHi = first-lead, last-lead
	j.edgeWitness(at, claim{c.lo - float64(lead), c.hi - float64(lead)})
	if n == 1 || c.hi-c.lo < 1 {
		// A claim narrower than a second names the second by itself, even where the
		// receiver could be a second ahead and a second later to arrive.
		j.x.secLo, j.x.secHi = 0, 0
		if !was || c.hi-c.lo < 1 {
			j.x.secAlone = false
		}
		j.rx.secProved = j.rx.secProved || j.rx.attached && j.rx.leapsMissing == 0 && j.latencyNames(at)
		if !was {
			j.note(at, "proved", "A second reference agrees: the whole second is confirmed.")
		}
	}
	return true
}

// resolve lets agreement decide while anything opposes the estimate: the
// largest set of references of disjoint ancestry whose intervals intersect
// (RFC 5905 section 11.2.1). No majority, no winner: the guard spans all.
func (j *Judge) resolve(at timescale.Local) {
	var buf [maxServers + markSlots + 6]selection.Interval
	b := ballot{all: buf[:0]}
	lo, hi := j.interval(guardZ)
	b.own = selection.Interval{Low: lo, High: hi}
	j.votesWithoutNetwork(at, &b)
	j.votesOfServers(at, &b)
	if !b.opposed {
		return
	}
	if !slices.Contains(b.all, b.own) && j.heldFrom() != 0 {
		b.all = append(b.all, b.own) // what is held over from a reference that is silent now
	}
	if len(b.all) == 1 { // what is known rests on him who opposes it: he was wrong then, or is now
		return
	}
	wlo, whi, _, ok := selection.Select(b.all)
	if !ok || !j.on(RuleVote) {
		return
	}
	win := claim{wlo, whi}
	if win.meets(claim{lo, hi}) {
		j.outvote(win)
		return
	}
	j.restart(at, win)
}

// ballot is what each reference of an ancestry of its own would have x be.
type ballot struct {
	all     []selection.Interval
	own     selection.Interval // of those who agree with the estimate
	opposed bool
}

func (b *ballot) agrees() { b.all = append(b.all, b.own) }

func (b *ballot) opposes(c claim, flat bool) {
	b.opposed = true
	b.all = append(b.all, selection.Interval{Low: c.lo, Mid: (c.lo + c.hi) / 2, High: c.hi, Flat: flat})
}

// votesWithoutNetwork takes the votes of all but servers. What was known before, of
// another ancestry than those who speak now, votes as well: the oscillator bears it.
func (j *Judge) votesWithoutNetwork(at timescale.Local, b *ballot) {
	var spoken ancestry
	switch rx := &j.rx; {
	case rx.attached && !rx.left() && rx.leapsMissing == 0 && j.receiverLive(at):
		spoken = ancReceiver
		b.agrees()
	case rx.dissents():
		spoken = ancReceiver
		b.opposes(rx.claim, true)
	}
	switch c := &j.rtc; {
	case c.independent && c.fault == fNone && c.ancestry&^spoken != 0:
		spoken |= c.ancestry
		b.agrees()
	case c.fault == fDisagrees:
		spoken |= c.ancestry
		b.opposes(c.claim, false)
	}
	for i := range j.marks {
		if m := &j.marks[i]; m.speaks(at) {
			spoken |= slotAncestry[i]
			if m.agrees {
				b.agrees()
			} else {
				b.opposes(j.says(m), false)
			}
		}
	}
	held := j.heldFrom() &^ spoken &^ ancServersNow
	if held&ancAir != 0 { // of a run before it is all of these
		held = held&^ancAir | slotAncestry[slotCrowd]
	}
	for ; held != 0; held &= held - 1 {
		b.agrees()
	}
}

// votesOfServers takes theirs. Whoever owns the network answers for every name: so against
// what was proved without it all servers are one witness, and one for each opinion among
// them. On their own they vote by ancestry.
func (j *Judge) votesOfServers(at timescale.Local, b *ballot) {
	oneNetwork := len(b.all) > 0 || j.heldFrom()&^ancServers != 0
	for i := range j.servers[:j.nServer] {
		s := &j.servers[i]
		if at.Sub(s.at) >= serverAgree || j.spokenFor(i, at, oneNetwork) {
			continue
		}
		if s.agrees {
			b.agrees()
		} else {
			r := j.rel(s.at, s.z)
			b.opposes(claim{r - s.bound, r + s.bound}, false)
		}
	}
}

// heldFrom is the ancestry of x but for the references that oppose it now.
func (j *Judge) heldFrom() ancestry {
	a := j.x.ancestry
	if j.rx.dissents() {
		a &^= ancReceiver
	}
	for i := range j.servers[:j.nServer] {
		if !j.servers[i].agrees {
			a &^= ancServer << i
		}
	}
	for i := range j.marks {
		if j.markOpposes(&j.marks[i]) {
			a &^= slotAncestry[i]
		}
	}
	return a
}

// outvote takes the opponents outside the winning interval out of the guard.
func (j *Judge) outvote(win claim) {
	for i := range j.servers[:j.nServer] {
		s := &j.servers[i]
		r := j.rel(s.at, s.z)
		s.outvoted = !s.agrees && !win.meets(claim{r - s.bound, r + s.bound})
	}
	for i := range j.marks {
		m := &j.marks[i]
		m.outvoted = m.at != 0 && !m.agrees && !win.meets(j.says(m))
	}
	if j.rtc.fault == fDisagrees && !win.meets(j.rtc.claim) {
		j.outvoteRTC()
	}
	if j.rx.fault == fDisagrees && !win.meets(j.rx.claim) {
		j.rx.fault, j.rx.jump, j.rx.noProof = fJumped, (j.rx.claim.lo+j.rx.claim.hi)/2, true
	}
}

// outvoteRTC: somebody set the hardware clock, or it stopped, so what was learned of it is
// void. It is compared anew.
func (j *Judge) outvoteRTC() {
	j.rtc.fault, j.rtc.attached, j.rtc.independent = fWasSet, false, false
	j.learned.RTC = nil
}

// restart takes the estimate up anew from a majority that outvotes it.
func (j *Judge) restart(at timescale.Local, win claim) {
	mid := (win.lo + win.hi) / 2
	j.shift(mid)
	j.forgetTies()
	j.f.forget(sX, j.f.v[sX], math.Max((win.hi-win.lo)/2/boundZ, 0.01))
	j.x = known{known: true, dateProved: true, support: supportNetwork, netAt: at}
	for i := range j.servers[:j.nServer] {
		s := &j.servers[i]
		r := j.rel(s.at, s.z)
		s.agrees = (claim{r - s.bound, r + s.bound}).meets(claim{win.lo - mid, win.hi - mid})
		s.outvoted = !s.agrees
		if s.agrees {
			j.x.ancestry |= ancServer << j.family(i)
		}
	}
	j.restartMarks(at, claim{win.lo - mid, win.hi - mid})
	j.rx.attached, j.rx.fault, j.rx.run, j.rx.secProved = false, fNone, 0, false
	j.outvoteRTC()
	j.note(at, "overruled", "Several references that agree overruled the former time by "+seconds(mid)+".")
}

func (j *Judge) serverNamed(name string) *server {
	for i := range j.servers[:j.nServer] {
		if j.servers[i].name == name {
			return &j.servers[i]
		}
	}
	if j.nServer == maxServers {
		return nil
	}
	s := &j.servers[j.nServer]
	*s = server{name: name}
	j.nServer++
	return s
}

func (j *Judge) indexOf(s *server) int {
	for i := range j.servers {
		if &j.servers[i] == s {
			return i
		}
	}
	return 0
}
