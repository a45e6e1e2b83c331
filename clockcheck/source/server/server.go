// Package server admits the answers of time servers, and says which of them are one
// witness: a family. Servers first heard over one visit to a network came through one
// router, and share what it does to them, until they contradict one another; servers
// that say they follow one another share an ancestry besides (RFC 5905 section 7.3).
// A value machine, for one goroutine.
package server

import (
	"math"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
)

const (
	// shareOfBound: σ of a server's error as a share of its root distance, at whose edge the error is
	// where the way is nearly all one way (RFC 5905, section 8): 1/0.4 = 2.5 σ. The guard reaches to
	// 3.89 σ, and stays there, for an error that is common does not average out. Beside what was known
	// before and is off to the same side by d of its own σ, 2.5 + d²/10 at most (TestEdgeOfARootDistance): up to
	// d = 3.7 the edge needs no density of its own.
	shareOfBound = 0.40
	// visitGap: an hour without any answer ends a visit; servers are asked each 18 min, so three
	// questions went unanswered (assumption).
	visitGap = time.Hour
	ntpPort  = 123 // RFC 5905, section 7.2
	// turn: servers are asked 2 s after one another at first (netref); one that does not
	// answer is passed over, and an answer takes a second at most.
	// 2·2 + 1 s.
	turn = 5 * time.Second
	// enough: of 2f + 1 that answer f may be false and the majority is right (RFC 5905, section
	// 11.2.1): three, f = 1.
	enough = 3
	// wander, s/s: so much two answers of other instants may differ besides: ±10 to ±50 ppm,
	// the crystals of small computers (from memory).
	wander = 50e-6
	// Fresh is how long a server is said to be heard: it is asked each 1,024 · 17/16 s = 18 min (package
	// netref), and answers in seconds.
	Fresh = 20 * time.Minute
	// boundLeast, s: no server is known better over a network (assumption; far below any tolerance).
	boundLeast = 1e-4
)

// One is what is known of one server.
type One struct {
	Name     string
	At       timescale.Local
	Z        int64   // its UTC − local at At, ns
	Bound    float64 // s
	Upstream clockcheck.Upstream
	Family   bank.Source
	visit    int
	jumped   timescale.Local // when it last contradicted its own word of this visit; 0 = never
	apart    bool            // a contradiction has told it from those of its visit
}

// Servers follows all of them.
type Servers struct {
	one   [clockcheck.MaxServers]One
	n     int
	visit int
	began timescale.Local // the visit
	last  timescale.Local
	fresh timescale.Local // when one last spoke for the first time on this visit …
	heard int             // … and how many have
}

// All are the servers heard so far.
func (v *Servers) All() []One { return v.one[:v.n] }

// Take admits an answer; false where there is no more room.
func (v *Servers) Take(r *clockcheck.Network) (out bank.Reading, ok bool) {
	if v.last == 0 || r.At.Sub(v.last) > visitGap {
		v.visit++
		v.began, v.heard = r.At, 0
	}
	v.last = max(v.last, r.At)
	i, ok := v.named(r.Server)
	if !ok {
		return out, false
	}
	s := &v.one[i]
	if s.At == 0 || s.At < v.began {
		v.fresh = r.At
		v.heard++
	}
	was := *s
	s.At, s.Z, s.Bound, s.Upstream = r.At, int64(r.UTC)-int64(r.At), r.Bound.Seconds(), r.Upstream
	if was.At != 0 && s.At.Sub(was.At) <= visitGap && s.excludes(&was) {
		s.jumped = s.At
	}
	v.tellApart(i)
	s.Family = v.family(i)
	return bank.Reading{Source: s.Family, At: r.At, Z: s.Z, Common: math.Max(s.Bound, boundLeast) * shareOfBound, Dated: true}, true
}

// Answering tells whether more of those that are asked may be about to speak for the first
// time on this visit. Of three that agree one may be false.
func (v *Servers) Answering(now timescale.Local) bool {
	return v.fresh != 0 && v.heard < enough && now.Sub(v.fresh) < turn
}

func (v *Servers) named(name string) (int, bool) {
	for i := range v.one[:v.n] {
		if v.one[i].Name == name {
			return i, true
		}
	}
	if v.n == len(v.one) {
		return 0, false
	}
	v.one[v.n] = One{Name: name, visit: v.visit}
	v.n++
	return v.n - 1, true
}

// tellApart: two of one visit that exclude each other are not one witness.
func (v *Servers) tellApart(i int) {
	s := &v.one[i]
	for k := range v.one[:v.n] {
		o := &v.one[k]
		if k == i || o.visit != s.visit || s.At.Sub(o.At) > Fresh {
			continue
		}
		if s.excludes(o) {
			for m := range v.one[:v.n] {
				v.one[m].apart = v.one[m].apart || v.one[m].visit == s.visit
			}
			return
		}
	}
}

// excludes tells whether two cannot both be right. Who jumped has not contradicted what another said before: where
// a portal answers for both, that one says the same as soon as it is asked again.
func (s *One) excludes(o *One) bool {
	if o.Name != s.Name && (o.At < s.jumped || s.At < o.jumped) {
		return false
	}
	return math.Abs(float64(s.Z-o.Z))/1e9 > s.Bound+o.Bound+wander*math.Abs(s.At.Sub(o.At).Seconds())
}

// family is the source that stands for all that are one witness with the i-th: the
// first of them.
func (v *Servers) family(i int) bank.Source {
	in := uint(1) << i
	for grown := true; grown; {
		grown = false
		for a := range v.one[:v.n] {
			for b := range v.one[:v.n] {
				if in>>a&1 == 1 && in>>b&1 == 0 && v.kin(a, b) {
					in |= 1 << b
					grown = true
				}
			}
		}
	}
	for k := range i {
		if in>>k&1 == 1 {
			return bank.Server + bank.Source(k)
		}
	}
	return bank.Server + bank.Source(i)
}

// kin tells whether two are one witness: of one visit, or one machine under two names,
// or one follows the other, or both the same third. Those that exclude one another are not,
// whatever they say: a liar takes nobody's voice by naming him.
func (v *Servers) kin(a, b int) bool {
	s, o := &v.one[a], &v.one[b]
	if d := s.At.Sub(o.At); d < Fresh && d > -Fresh && s.excludes(o) {
		return false
	}
	if s.visit == o.visit && !s.apart {
		return true
	}
	p, q := &s.Upstream, &o.Upstream
	one := p.ID != [4]byte{} && p.ID == q.ID && p.Port == q.Port
	return one || follows(p) && follows(q) && p.Follows == q.Follows || after(p, q) || after(q, p)
}

// follows tells whether u has its time from another server.
func follows(u *clockcheck.Upstream) bool { return u.Stratum > 1 && u.Follows != [4]byte{} }

// after tells whether u has its time from q.
func after(u, q *clockcheck.Upstream) bool {
	return follows(u) && q.Port == ntpPort && u.Follows == q.ID
}
