package netref

import (
	"crypto/md5"
	"encoding/binary"
	"net/netip"
	"slices"
	"time"

	"noonmark/clockcheck/timescale"

	"github.com/beevik/ntp"
)

// Our own limits; the library's Validate accepts a root distance of 15 s and
// any year, and refuses a healthy stratum 1 by its flags.
const (
	maxDistance = time.Second           // RFC 5905 MAXDIST
	maxAge      = 1 << 17 * time.Second // RFC 5905 2^MAXPOLL, 36 h
	// wanderPPM is how fast the local timescale may pass against true time
	// while the answer is waited for. RFC 5905's PHI of 15 ppm is too small
	// for the crystals of small computers: ±10 to ±50 ppm, from memory.
	wanderPPM = 50
	// resolution allows for the rounding of stamps (232 ps) and short
	// formats (15 µs, RFC 5905 section 6).
	resolution = 16 * time.Microsecond
	// undisciplined is the reference id of a server that hands on its own clock, set by
	// nothing: "uncalibrated local clock" (RFC 4330 section 4). Of 957 servers that called
	// themselves stratum 1, 657 were such (survey of 1999): they are wrong by seconds and more.
	undisciplined = "LOCL"
	// maxLife is how long after its build the program takes a time for
	// possible.
	maxLife = 25 * 366 * 24 * time.Hour
)

// accept judges an answer by itself and turns it into a Reading. own are the
// addresses of this machine.
func accept(a *ntp.Response, raw *exchange, own []netip.Addr, notBefore timescale.UTC) (Reading, error) {
	if err := healthy(a, raw, own); err != nil {
		return Reading{}, err
	}
	t1 := timescale.Local(a.Timestamps.ClientXmit.UnixNano())
	t4 := timescale.Local(a.Timestamps.ClientRecv.UnixNano())
	at, utc, delay, err := midpoint(t1, timescale.UTCOf(a.Timestamps.ServerRecv),
		timescale.UTCOf(a.Timestamps.ServerXmit), t4, a.Precision)
	if err != nil {
		return Reading{}, err
	}
	r := Reading{
		At: at, UTC: utc, Delay: delay,
		Bound: (max(delay, a.Precision)+a.RootDelay)/2 + a.RootDispersion + a.Precision +
			t4.Sub(t1)/1_000_000*wanderPPM + resolution,
		Stratum: int(a.Stratum), RefID: refID(a.Stratum, a.ReferenceID), Leap: int(a.Leap),
		Follows: [4]byte(binary.BigEndian.AppendUint32(nil, a.ReferenceID)),
	}
	if r.Bound >= maxDistance {
		return Reading{}, failf(Unfit, "its time is only good to %.1f s here (round trip %.1f s)",
			r.Bound.Seconds(), delay.Seconds())
	}
	if notBefore != 0 && (utc < notBefore || utc.Sub(notBefore) > maxLife) {
		return Reading{}, failf(Unfit, "it says %s UTC, which cannot be", utc.Time().Format(time.DateTime))
	}
	return r, nil
}

// healthy checks what the server says about itself.
func healthy(a *ntp.Response, raw *exchange, own []netip.Addr) error {
	switch {
	case a.Leap == ntp.LeapNotInSync:
		return failf(Unfit, "it says itself that its clock is not set")
	case a.Stratum == 0 || a.Stratum >= 16:
		return failf(Unfit, "it follows no clock (stratum %d)", a.Stratum)
	case a.Precision < 0 || a.Precision >= maxDistance:
		return failf(Unfit, "its answer is malformed (precision)")
	case a.Stratum == 1 && refID(a.Stratum, a.ReferenceID) == undisciplined:
		return failf(Unfit, "it says itself that nothing sets its clock (reference id %s)", undisciplined)
	case raw.neverSet():
		return failf(Unfit, "it does not say when its clock was last set")
	case a.Timestamps.ServerXmit.Before(a.ReferenceTime):
		return failf(Unfit, "it says its clock was last set in the future")
	case a.Timestamps.ServerXmit.Sub(a.ReferenceTime) > maxAge:
		return failf(Unfit, "its clock was last set more than 36 h ago")
	case a.Stratum > 1 && slices.ContainsFunc(own, func(ip netip.Addr) bool { return ip.IsValid() && a.ReferenceID == idOf(ip) }):
		return failf(Unfit, "it takes its time from this station, so it cannot confirm it")
	}
	return nil
}

// midpoint does the arithmetic of RFC 5905 section 8 on the four stamps of an
// exchange: half-way through it, at the instant at, the server's clock said
// utc; the packets were under way for delay. precision is the grain of the
// server's stamps.
func midpoint(t1 timescale.Local, t2, t3 timescale.UTC, t4 timescale.Local, precision time.Duration) (
	at timescale.Local, utc timescale.UTC, delay time.Duration, err error,
) {
	waited, held := t4.Sub(t1), t3.Sub(t2)
	slack := precision + resolution + waited/1000
	if waited < 0 || held < 0 || held > waited+slack {
		return 0, 0, 0, failf(Unfit, "its stamps contradict each other (it held the question %v, the answer took %v)",
			held, waited)
	}
	return t1.Add(waited / 2), t2.Add(held / 2), max(waited-held, 0), nil
}

// refID gives a reference id its meaning: four letters at stratum 1, the
// followed server's IPv4 address (or the hash of its IPv6 address) above.
func refID(stratum uint8, id uint32) string {
	if stratum <= 1 {
		return printable(id)
	}
	return netip.AddrFrom4([4]byte(binary.BigEndian.AppendUint32(nil, id))).String()
}

// idOf is the reference id of those who follow a server at addr (RFC 5905
// section 7.3): the IPv4 address, or the first four bytes of the MD5 hash of
// the IPv6 address.
func idOf(addr netip.Addr) uint32 {
	if addr.Is4() {
		b := addr.As4()
		return binary.BigEndian.Uint32(b[:])
	}
	b := addr.As16()
	sum := md5.Sum(b[:])
	return binary.BigEndian.Uint32(sum[:])
}
