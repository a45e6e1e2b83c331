package station

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/status/timeserver"
)

// Strata of what is served. RFC 5905 figure 11: 1 is a clock of its own, and each
// hop adds one. What runs on without a living reference comes far behind, so that a
// client takes any server that has one, some hops away; among these, what was true
// last comes before an operator's ear, and that before what the hardware clock says.
// The figures are our own.
const (
	stratumReceiver = 1
	stratumHoldover = 13
	stratumOperator = 14
	stratumRTC      = 15
	stratumMost     = 15
)

// Reference ids. "PPS" and "GPS" are registered; "GPS" is the registered code nearest to a receiver of several
// systems (IANA, NTP Parameters; RFC 5905 figure 12). Who has no other to name gives an
// address of the block that is reserved for ever (RFC 1112 section 4, 240.0.0.0/4): no
// client can take it for another server.
var (
	idPulse    = [4]byte{'P', 'P', 'S'}
	idReceiver = [4]byte{'G', 'P', 'S'}
	idOwn      = [4]byte{240, 'N', 'M', 1}
)

// Around an announced leap second the estimate may be a second off until a reference
// has said how it went: so long nothing is served. Servers are asked at least every
// 18 min (netref).
const (
	leapBefore = 2 * time.Second
	leapAfter  = 20 * time.Minute
)

// leapWarning is how long before a leap second clients are told. RFC 5905 section 7.3
// has the warning mean the end of the month, RFC 4330 section 4 that of the day, and
// kernels take it so: on the last day of the month both are right. Clients that ask
// once a day, as RFC 8633 section 3.7 wants of them, hear it.
const leapWarning = 24 * time.Hour

// Served is the judged time for other devices, as of the last Tick at t; one that
// says it is not to be trusted where the clock is not this machine's own.
func (s *Station) Served(t Tick) *timeserver.State {
	h, ok := s.judge.Hand(t.Local)
	if !ok || !s.cfg.Live {
		return &timeserver.State{}
	}
	out := &timeserver.State{Trusted: true, At: h.At, UTC: h.UTC, RatePPM: h.RatePPM, Guard: d(h.Guard), GuardPPM: h.GuardPPM,
		Reference: h.UTC.Add(h.Confirmed.Sub(h.At))}
	out.Stratum, out.RefID = rank(&h)
	end := monthEnd(h.UTC)
	if leap := s.announced(end, &h); leap != 0 {
		s.leapEnd = end
		if end.Sub(h.UTC) <= leapWarning {
			out.Leap = leap
		}
	}
	if since := h.UTC.Sub(s.leapEnd); s.leapEnd != 0 && since >= -leapBefore && since < leapAfter {
		out.Trusted = false
	}
	return out
}

// announced is the leap indicator (RFC 5905 figure 9) for the end of a month: what the
// list says, by which the kernel is told too; where it cannot tell, what every server
// heard says.
func (s *Station) announced(end timescale.UTC, h *clockcheck.Handed) uint8 {
	l, leap, known := s.cfg.Leaps.At(end, h.UTC)
	switch {
	case leap && l.Insert:
		return 1
	case leap:
		return 2
	case known || !leapMonth(end):
		return 0
	}
	return uint8(h.Leap)
}

// rank gives stratum and reference id.
func rank(h *clockcheck.Handed) (uint8, [4]byte) {
	switch h.Basis {
	case clockcheck.BasisPPS:
		return stratumReceiver, idPulse
	case clockcheck.BasisGNSS:
		return stratumReceiver, idReceiver
	case clockcheck.BasisNetwork:
		if h.Server.Stratum < 1 {
			return stratumMost, h.Server.ID
		}
		return uint8(h.Server.Stratum + 1), h.Server.ID // 16: one hop too many, and not served
	case clockcheck.BasisHoldover:
		return stratumHoldover, idOwn
	case clockcheck.BasisOperator:
		return stratumOperator, idOwn
	}
	return stratumRTC, idOwn
}

// monthEnd is the first instant of the month after the one u lies in.
func monthEnd(u timescale.UTC) timescale.UTC {
	t := u.Time()
	return timescale.UTCOf(time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, time.UTC))
}

// leapMonth tells whether a leap second may lie before end: all there have been
// were at the end of June or December (ITU-R TF.460 prefers these).
func leapMonth(end timescale.UTC) bool {
	m := end.Time().Month()
	return m == time.January || m == time.July
}
