package timeserver

import (
	"encoding/binary"
	"time"

	"noonmark/clockcheck/timescale"
)

// size is the length of a header (RFC 5905 figure 8), and of every answer.
const size = 48

// Where the fields of a header lie (RFC 5905 figure 8).
const (
	atStratum    = 1
	atPoll       = 2
	atPrecision  = 3
	atDispersion = 8
	atRefID      = 12
	atReference  = 16
	atOrigin     = 24
	atReceive    = 32
	atTransmit   = 40
)

const (
	client, server = 3, 4 // modes, RFC 5905 figure 10
	newest         = 4    // version
	unsynchronised = 3    // leap indicator, RFC 5905 figure 9
	noStratum      = 16   // RFC 5905 figure 11
	// precision is log2 of the seconds it takes to read the clock: a system call,
	// less than 1 µs.
	precision = -20
	// noise are the bits of a transmit stamp below the precision that are random,
	// so that no two stamps are alike (RFC 5905 section 6): 2^10 · 233 ps.
	noise = 1<<10 - 1
	// slowPoll is the poll exponent a RATE asks for at least: 64 s.
	slowPoll = 6
)

// question tells whether p is a client's question that this server answers.
// RFC 5905 answers no version above its own; there is no version 0.
func question(p []byte) bool {
	if len(p) < size {
		return false
	}
	version := p[0] >> 3 & 7
	return p[0]&7 == client && version >= 1 && version <= newest
}

// head is the first octet of an answer, in the question's version.
func head(leap byte, q []byte) byte { return leap<<6 | q[0]&(7<<3) | server }

// answer writes the answer to q, which arrived and is being answered at these
// instants, by s.
func (s *State) answer(a *[size]byte, q []byte, arrived, leaving timescale.Local, random uint32) {
	if !s.usable(arrived) || !s.usable(leaving) {
		refuse(a, q, unsynchronised, noStratum, [4]byte{})
		return
	}
	*a = [size]byte{head(s.Leap, q), s.Stratum, q[atPoll], 256 + precision}
	binary.BigEndian.PutUint32(a[atDispersion:], short(s.guard(leaving)))
	copy(a[atRefID:], s.RefID[:])
	binary.BigEndian.PutUint64(a[atReference:], stamp(s.Reference))
	copy(a[atOrigin:], q[atTransmit:size])
	binary.BigEndian.PutUint64(a[atReceive:], stamp(s.at(arrived)))
	binary.BigEndian.PutUint64(a[atTransmit:], stamp(s.at(leaving))&^noise|uint64(random)&noise)
}

// refuse writes an answer that gives no time. Its receive and transmit stamps are
// the client's own: they say that the client's clock is right as it is.
func refuse(a *[size]byte, q []byte, leap, stratum byte, id [4]byte) {
	*a = [size]byte{head(leap, q), stratum, q[atPoll], 256 + precision}
	copy(a[atRefID:], id[:])
	for _, at := range []int{atOrigin, atReceive, atTransmit} {
		copy(a[at:], q[atTransmit:size])
	}
}

// rate writes the kiss that asks for fewer questions (RFC 5905 section 7.4).
func rate(a *[size]byte, q []byte) {
	refuse(a, q, unsynchronised, 0, [4]byte{'R', 'A', 'T', 'E'})
	a[atPoll] = byte(max(int8(q[atPoll]), slowPoll))
}

// unixToNTP is the number of seconds from 1900 to 1970 (RFC 5905 figure 4).
const unixToNTP = 2_208_988_800

// stamp is u in the 64-bit format of RFC 5905 section 6, in whatever era it lies.
// Zero would mean "unknown": the one instant in 136 years that is zero is given as
// the next, 233 ps later.
func stamp(u timescale.UTC) uint64 {
	s, ns := int64(u)/timescale.Second, int64(u)%timescale.Second
	if ns < 0 {
		s, ns = s-1, ns+timescale.Second
	}
	v := uint64(uint32(s+unixToNTP))<<32 | uint64(ns)<<32/uint64(timescale.Second)
	return max(v, 1)
}

// short is d in the 32-bit format of RFC 5905 section 6, rounded up, for it is a
// bound. d is from 0 to 65535 s.
func short(d time.Duration) uint32 {
	return uint32((uint64(d)<<16 + uint64(time.Second) - 1) / uint64(time.Second))
}
