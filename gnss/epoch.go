package gnss

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// Fix is the dimension of a position fix, as GSA gives it.
type Fix int8

// The dimensions of a fix. FixUnknown means that no sentence said.
const (
	FixUnknown Fix = iota
	FixNone
	Fix2D
	Fix3D
)

// String returns "unknown", "none", "2d" or "3d".
func (f Fix) String() string {
	switch f {
	case FixNone:
		return "none"
	case Fix2D:
		return "2d"
	case Fix3D:
		return "3d"
	}
	return "unknown"
}

// Types is a set of sentence types.
type Types uint16

// The sentence types an epoch can hold. TypeOther stands for every well-formed
// sentence that is not looked into.
const (
	TypeRMC Types = 1 << iota
	TypeGGA
	TypeGNS
	TypeGLL
	TypeZDA
	TypeGSA
	TypeGST
	TypeGSV
	TypeOther
)

// Angle is a latitude or longitude in units of 1e-7 arc-minute (0.2 mm on the
// ground), north and east positive: NMEA's own minutes up to the seventh
// decimal, exactly. Further decimals are cut off, toward zero.
type Angle int64

// Deg returns the angle in degrees.
func (a Angle) Deg() float64 { return float64(a) / 600_000_000 }

// Epoch is everything a receiver said about one instant.
//
// What the receiver said is passed on as it said it: a default date, a date 1024
// weeks old or time from the receiver's own clock is for the judge to explain.
type Epoch struct {
	// TimeOfDay is the time since 00:00:00 UTC, exact as printed (digits after
	// the ninth decimal are cut off), below 24 h. In a positive leap second
	// (23:59:60) LeapSecond is true and TimeOfDay is that of one second before.
	TimeOfDay  time.Duration
	HasTime    bool
	LeapSecond bool

	// The date, if DateOK: always one that exists. YearDigits tells whether the
	// receiver printed four digits or two; two are placed by Config.BuildDate.
	Year       int16
	Month, Day int8
	YearDigits int8
	DateOK     bool
	// OldDate: the time has passed midnight, the date has not followed yet (some
	// receivers are a second late with it). Date fields are as printed.
	OldDate bool
	// DateDoubt: two sentences of the epoch gave different dates; that of the
	// four-digit year is kept.
	DateDoubt bool

	// Status is the status letter of RMC or GLL: 'A' or 'V', 0 if none came. 'V'
	// wins if both came.
	Status byte
	// Mode is the mode letter of RMC, else of GLL, else the best of GNS (A, D, E,
	// F, M, N, P, R, S), 0 if none came.
	Mode byte
	// Quality is GGA's fix quality, 0 to 9, −1 if no GGA came.
	Quality int8
	// Simulated: the receiver says that it simulates (quality 8 or mode S).
	Simulated bool
	// Valid: the receiver itself calls the time and fix valid. Some sentence must
	// say so (RMC or GLL status A; where neither gave a status, GGA quality 1 to 5
	// or a GNS mode A, D, F, P or R), and none may deny it (status V, mode N, E, M
	// or S, quality 0, 6, 7 or 8, GNS without any good system). A contradiction is
	// not valid. It always comes with a time.
	Valid bool
	Fix   Fix

	Satellites int8    // used in the fix, −1 = not said
	HDOP, PDOP float32 // 0 = not said

	// The position, if HasPosition: the fields were there, well-formed, and their
	// own sentence did not call them invalid. An estimated, manual or simulated
	// position has HasPosition without Valid.
	Lat, Lon    Angle
	HasPosition bool
	AltM        float32 // above mean sea level, metres, if HasAlt
	HasAlt      bool
	// One-sigma errors as the receiver estimates them (GST), metres, if HasSigma.
	SigmaLatM, SigmaLonM float32
	HasSigma             bool
	SpeedMS              float32 // over ground, m/s, −1 = not said

	// Arrival is when the first byte of the burst began to arrive: of the first
	// good receiver sentence after a silence of 50 ms, FirstType (talker and
	// type). Where no silence came before, AfterGap is false and Arrival is
	// TimeArrival.
	Arrival   timescale.Local
	FirstType [5]byte
	AfterGap  bool
	// TimeArrival is when the first sentence that named this time began to
	// arrive, TimeType its talker and type.
	TimeArrival timescale.Local
	TimeType    [5]byte

	Types Types // what the epoch was put together from
	Bytes int   // from Arrival to the end of its last sentence, everything between included
	// Backlog: the bytes had been waiting in a buffer; Arrival is no evidence.
	Backlog bool
	// Repeated: an earlier epoch named this same instant (the receiver or a relay
	// is stuck, a second source is behind, or the time has stepped back).
	Repeated bool
	// Unchecked: at least one of its sentences came without a checksum.
	Unchecked bool
}

// UTC returns the instant the epoch names, and whether it has both time and date.
// A missing day at midnight (OldDate) is added. A leap second has the value of
// the second after it.
func (e *Epoch) UTC() (timescale.UTC, bool) {
	if !e.HasTime || !e.DateOK {
		return 0, false
	}
	t := time.Date(int(e.Year), time.Month(e.Month), int(e.Day), 0, 0, 0, 0, time.UTC)
	u := timescale.UTC(t.Unix() * timescale.Second).Add(e.TimeOfDay)
	if e.OldDate {
		u = u.Add(24 * time.Hour)
	}
	if e.LeapSecond {
		u = u.Add(time.Second)
	}
	return u, true
}
