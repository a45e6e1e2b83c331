package gnss

import "time"

// draft is an epoch in the making, with what its final fields are decided from.
type draft struct {
	Epoch
	live     bool
	weak     bool          // its time is ZDA's
	tod      time.Duration // from 24 h on: a leap second
	pos, end uint64        // in the stream

	rmcDate, zdaDate date
	zdaTod           time.Duration
	statusA, statusV bool
	modeBad          bool
	gnsSeen, gnsGood bool
	modeRank         int // which sentence gave Mode
	posRank          int // which sentence gave the position
}

// names tells whether the draft is of this time.
func (g *draft) names(tod time.Duration) bool { return g.live && g.HasTime && g.tod == tod }

// retime gives the draft the time of the fix in place of ZDA's.
func (g *draft) retime(s *said) {
	g.tod, g.weak = s.tod, false
	g.TimeArrival, g.TimeType = s.at, s.addr
}

// Positions are taken from the sentence with the most digits in real receivers;
// modes from the one that is about the whole fix.
func positionRank(kind Types) int {
	switch kind {
	case TypeGGA:
		return 4
	case TypeGNS:
		return 3
	case TypeRMC:
		return 2
	}
	return 1
}

// merge adds what a sentence said.
func (g *draft) merge(s *said) {
	if s.kind == TypeGST {
		if !s.hasTime || !g.names(s.tod) {
			return
		}
	}
	g.Types |= s.kind
	g.end = max(g.end, s.end)
	g.Unchecked = g.Unchecked || s.unchecked
	switch s.kind {
	case TypeRMC:
		if s.date.digits > 0 {
			g.rmcDate = s.date
		}
		g.SpeedMS = s.speed
		g.mergeStatus(s, 3)
	case TypeGLL:
		g.mergeStatus(s, 2)
	case TypeGGA:
		if g.Quality <= 0 || s.quality == 0 {
			g.Quality = s.quality
		}
		g.mergeFix(s)
	case TypeGNS:
		g.gnsSeen = g.gnsSeen || s.mode != 0
		g.gnsGood = g.gnsGood || goodMode(s.mode)
		g.Simulated = g.Simulated || s.mode == 'S'
		if s.mode != 0 && (g.modeRank == 0 || g.modeRank == 1 && goodMode(s.mode)) {
			g.Mode, g.modeRank = s.mode, 1
		}
		g.mergeFix(s)
	case TypeZDA:
		if s.date.digits > 0 {
			g.zdaDate, g.zdaTod = s.date, s.tod
			if !s.hasTime {
				g.zdaTod = g.tod
			}
		}
	case TypeGSA:
		g.Fix = max(g.Fix, s.fix)
		g.dilution(s)
	case TypeGST:
		if s.hasSigma {
			g.SigmaLatM, g.SigmaLonM, g.HasSigma = s.sLat, s.sLon, true
		}
	}
	if r := positionRank(s.kind); s.hasPos && r > g.posRank {
		g.Lat, g.Lon, g.HasPosition, g.posRank = s.lat, s.lon, true, r
	}
}

func goodMode(m byte) bool { return m == 'A' || m == 'D' || m == 'F' || m == 'P' || m == 'R' }

// mergeStatus adds the status and mode of RMC or GLL.
func (g *draft) mergeStatus(s *said, rank int) {
	g.statusA = g.statusA || s.status == 'A'
	g.statusV = g.statusV || s.status == 'V'
	if s.mode == 0 {
		return
	}
	g.modeBad = g.modeBad || !goodMode(s.mode)
	g.Simulated = g.Simulated || s.mode == 'S'
	if rank > g.modeRank {
		g.Mode, g.modeRank = s.mode, rank
	}
}

// mergeFix adds what GGA and GNS have in common.
func (g *draft) mergeFix(s *said) {
	g.Simulated = g.Simulated || s.quality == 8
	if s.satellites > g.Satellites {
		g.Satellites = s.satellites
	}
	g.dilution(s)
	if s.hasAlt && !s.denied() && (s.kind == TypeGGA || !g.HasAlt) {
		g.AltM, g.HasAlt = s.alt, true
	}
}

func (g *draft) dilution(s *said) {
	if s.hdop > 0 && (g.HDOP == 0 || s.kind == TypeGGA) {
		g.HDOP = s.hdop
	}
	if s.pdop > 0 {
		g.PDOP = s.pdop
	}
}

// finish decides the fields that depend on several sentences. before is the
// epoch finished last, nil if none.
func (g *draft) finish(before *instant) Epoch {
	e := g.Epoch
	e.TimeOfDay = g.tod
	if g.tod >= 24*time.Hour {
		e.TimeOfDay, e.LeapSecond = g.tod-time.Second, true
	}
	g.decideDate(&e, before)
	switch {
	case g.statusV:
		e.Status = 'V'
	case g.statusA:
		e.Status = 'A'
	}
	good := g.statusA || !g.statusV && (e.Quality >= 1 && e.Quality <= 5 || g.gnsGood)
	bad := g.statusV || g.modeBad || g.gnsSeen && !g.gnsGood ||
		e.Quality == 0 || e.Quality >= 6 && e.Quality <= 8 || e.Simulated
	e.Valid = e.HasTime && good && !bad
	if e.Fix == FixUnknown && (g.statusV || e.Quality == 0) {
		e.Fix = FixNone
	}
	e.Bytes = int(g.end - g.pos)
	return e
}

// decideDate chooses between the dates of RMC and ZDA.
func (g *draft) decideDate(e *Epoch, before *instant) {
	day := g.rmcDate
	if g.zdaDate.digits > 0 {
		// ZDA may be on the other side of midnight from the fix.
		z := g.zdaDate
		switch gap := g.zdaTod - g.tod; {
		case !e.HasTime:
		case gap > 12*time.Hour:
			z = z.addDays(1)
		case gap < -12*time.Hour:
			z = z.addDays(-1)
		}
		e.DateDoubt = day.digits > 0 && !day.same(z)
		day = z
	}
	e.Year, e.Month, e.Day, e.YearDigits = day.year, day.month, day.day, day.digits
	e.DateOK = day.digits > 0
	e.OldDate = e.DateOK && e.HasTime && before != nil && before.date.same(day) && before.date.digits > 0 &&
		e.TimeOfDay < 2*time.Second && (before.dayBefore || before.tod >= 24*time.Hour-2*time.Second)
}
