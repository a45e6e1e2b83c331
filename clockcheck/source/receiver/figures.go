package receiver

import "time"

// Each figure with its source, its formula, or the word "assumption" (held by package deps).
const (
	// runLeast valid epochs must agree before the first is believed. A damaged sentence passes its
	// checksum of 8 bits with 1/256: three of one place, 6e-8.
	runLeast = 3
	// gap is the longest hole in a run of valid epochs: receivers send each 0.1 to 1 s, and a
	// USB line or a busy machine holds back a few seconds (assumption).
	gap = 5 * time.Second
	// lookLong: a look is the mean over so long, so the bank is asked ten times more seldom
	// (assumption; no longer than a station may wait for its first yes).
	lookLong = 10 * time.Second
	// agree, s: an epoch so far from its look is of another place, 3·jitterStart. Where the
	// line is restless, farSigmas of it: 2e-9 of a Gaussian.
	agree     = 3 * jitterStart
	farSigmas = 6
	// So many strays in a row are a move as make one by chance as seldom as lateness moves: in an
	// epoch, 0.05 times in 12 h at 1 Hz (the bank's price of a lateness that moved). The share of
	// strays is that of the last strayLong epochs, ten minutes, after strayNone without any
	// (assumption); where half of all are strays it takes ln(moveChance)/ln(½) = 20.
	moveChance           = 0.05 / (12 * 3600)
	strayLong, strayNone = 600, 60
	inARowMost           = 20
	// stuck repeats in a row: a position sent at 5 Hz beside a time at 1 Hz repeats four times
	// (assumption: no receiver does so more often).
	stuck = 5
	// A line that is too slow lets an epoch through in time now and then: so many more
	// overrun ones than others, a minute of them at 1 Hz, are believed for so long at most,
	// ten minutes (assumption).
	overrunHabit, overrunMost = 60, 600
	// Page: GPS repeats the leap-second data each 12.5 min (IS-GPS-200, subframe 4,
	// page 18); half a minute more for the first.
	page = 13 * time.Minute
	// coldAfter: no valid epoch for so long since the port opened is a cold start: makers'
	// data sheets give 26 to 35 s, and 1 to 2 s with ephemerides (from memory).
	coldAfter = 25 * time.Second
	// Share of starts whose leap-second data are missing (assumption, 0.1 to 0.6 where cold; two
	// cases are published: Hornaday 2005, TinyGPSPlus issue 30).
	missingCold, missingWarm = 0.3, 0.05
	// Of units of one kind, those that may lead are leaders; these do so at leadsAgain of the
	// starts that look cold from here, for some are warm ones under a bad sky: together
	// missingCold (assumption; the share of old modules is unknown). swapped: another unit under
	// the same name, the bank's price of another lateness than learned (assumption).
	leadsAgain, swapped = 0.6, 1e-3
	leaders             = missingCold / leadsAgain
	// Scatter of an epoch's arrival, σ in s: windows of last bytes are below 50 ms (Sims
	// 2016), timing units below 1 ms peak to peak. jitterMost, twice the first, is what a look
	// may still count for (assumption). It is learned over jitterFirst to jitterLooks looks.
	jitterStart, jitterLeast, jitterMost = 0.050, 0.0005, 0.1
	jitterFirst, jitterLooks             = 3, 30
	// scatterMost, s, RMS: bursts of one receiver come at two places 0.2 s apart (a capture); farther
	// from each other they are at none. strayMost, s: an epoch half a second off may be of any
	// second, and one farther off is no worse. The mean is over the last spreadEpochs, about
	// three minutes (assumption): 26 that far off are too many, 160·0.2²/0.5² = 25.6. At first it
	// is over spreadFirst, of which 5 are too many.
	scatterMost, strayMost, spreadFirst, spreadEpochs = 0.2, 0.5, 30, 160
	epochsALook                                       = 16 // of a receiver that sends 1.6 a second (assumption)
	// floorSlack: a build date is of any time zone, UTC − 12 to + 14 h (tzdata), so a day.
	floorSlack = 24 * time.Hour
	week1024   = 1024 * 7 * 24 * time.Hour // IS-GPS-200: the week is sent in 10 bits
	// repairMost: half of 1,024 weeks is 9.8 years, so that one repair only fits.
	repairMost = 10 * 365 * 24 * time.Hour
	// Latest sentences, s. Serial: 0.03 to 0.6 s, and 0.9 to 1.19 s for models that describe
	// the second before (measured captures, two makers' guides). Relay: 6 to 10 s was
	// measured behind a Wi-Fi multiplexer.
	lateSerial, lateRelay = 1.2, 10
	// What is assumed until it is measured, s: the middle of the usual 0.03 to 0.6 s, and σ
	// so that 2σ reach lateSerial: (1.2 − 0.3)/2. Of a relay 3σ reach lateRelay.
	priorSerial, priorSerialSigma = 0.30, 0.45
	priorRelay, priorRelaySigma   = 1, 3
	// fixNeeds so many satellites: unknowns of place and time, 3 + 1 = 4.
	fixNeeds = 4
)
