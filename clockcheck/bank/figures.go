package bank

// The figures of the bank besides its prices (prices.go), each with a source, a formula or
// the word "assumption" (held by package deps). What the verdicts do when one of the
// assumptions is halved or doubled stands in DEVELOPERS.md.

// How sure is sure.
const (
	// Risk is the probability that the guard may miss the truth: 1 − 0.9999 by definition.
	Risk = 1e-4
	// wide, σ: beyond it lie erfc(4/√2) = 6.3e-5 of a Gaussian, two-sided: less than Risk.
	wide = 4
	// seldom, σ: erfc(3/√2) = 1 in 370 of a Gaussian lies beyond. Readings further out have long tails
	// and count less (Huber's estimator); a range ends there.
	seldom = 3
	// gate, nats: half of 3.891², the σ beyond which lies Risk, two-sided.
	gate = 7.6
	// easyStrain, nats: half of 2², 95 %. Who expects a reading so near is at ease with it.
	easyStrain = 2
	// likeliest is the largest probability that a price may say: −ln 0.9 = 0.1 nats, so that
	// no assumption is free (assumption).
	likeliest = 0.9
	// likelier, nats: another track becomes the best when it is e^0.5 = 1.6 times as likely.
	// No price is known so closely (assumption: each to a factor of three).
	likelier = 0.5
	// tooDear, nats above the best: ln(32 tracks · 10³ / Risk) = 19.6. So the 32 together stay
	// below Risk though three prices of each may be wrong by ten.
	tooDear = 20
	// capped: no single reading costs more, nats: ln(16/Risk) = 12.0. At drawnIn of the risk
	// it has said all that it can; a source that is false costs less.
	capped = 12
)

// Whole seconds, and sizes of errors.
const (
	// MaxLead: a receiver without leap-second data is ahead of UTC by 18 s less its
	// firmware's count; 18 = GPS − UTC since 2017-01-01 (tzdata).
	MaxLead = 18
	// smallest, s: errors and moves of a lateness are log-uniform from here; half of floor.
	smallest = 0.01
	// movesMost, s: … moves to here, the largest lateness of captures (0.03 to 1.19 s).
	movesMost = 1.2
	// wholeNear, s: leap-second data leave the fraction as it was, to 3·floor.
	wholeNear = 3 * floor
	// otherSecond, s: two accounts so far apart are of two seconds. Of one second they differ
	// by their latenesses, captures: 0.03 to 0.6 s (0.57 s apart); of two, by 1 s less the
	// wander of one, 0.15 s at 99.99 % of proved and floor.
	otherSecond = 0.7
	// anywhere, s: where UTC may be of which nobody tells more than a fraction of a period;
	// 11 days, more than any period (assumption: none is longer than a day).
	anywhere = 1e6
	// unsaid, s: how far off the run before found a source is not kept; less than any reading tells (assumption,
	// 1 ns), so that only who knows UTC well sees whether it still is.
	unsaid = 1e-9
	// leastVar, s², = (1 ns)², so that nothing is divided by zero; stamps are whole nanoseconds.
	leastVar = 1e-18
	// farSeconds, s: a hull that reaches so far is ruled by single tracks: half of a second, where
	// rounding to whole ones turns, and a tolerance (FT4). Only how fast the guard is found, and by
	// which tracks the same risk is spent, depends on it.
	farSeconds = 0.5
)

// Lateness of a receiver's sentences.
const (
	// floor, σ in s, is what all readings of a receiver share and no filter sees: its
	// lateness is never known better. Sims 2016: window of last bytes < 50 ms, so a mean
	// anywhere in it is 50/√12 = 14 ms off; with lateRestless for an hour √(14² + 10²) = 17.
	floor = 0.020
	// likelyFloor is the same for the reported 99 %: √(10² + 6.5²) = 12 ms of the SD of most
	// units and of a better one (Sims 2016).
	likelyFloor = 0.012
	// dragFloor, σ in s: where the scatter of epochs is not white, the mean of a look errs as
	// much as one epoch: SD < 10 ms (Sims 2016).
	dragFloor = 0.010
	// proved, σ in s: a lateness is known when, with floor, it takes half of the least
	// tolerance (JS8-6, 0.3 s) at 99.99 %: 3.891·√(proved² + floor²) = 0.15, proved = 0.033.
	proved = 0.035
	// edge, s: how soft the ends of a lateness' range are, 2.5·floor = 0.05 s, its 99 %.
	edge = 2.5 * floor
	// priorMean and priorSigma are shares of the largest lateness, until the lateness is
	// measured: 0.30 ± 0.45 s of 1.2 s, as for package receiver (LatePrior).
	priorMean, priorSigma = 0.25, 0.375
	// otherUnit is by how much two receivers of one kind and configuration differ in
	// lateness, σ in s: "tens to hundreds of ms" (van Baak 2015).
	otherUnit = 0.25
	// beforeFrom: captures are 0.03 to 0.6 s late, or 0.9 to 1.19 s where they describe the
	// second before; the middle of the gap, s. A relay (beforeMost and more) may be as late
	// as it likes.
	beforeFrom, beforeMost = 0.75, 2.0
	// secondBefore is the share of receivers whose sentences describe the second before
	// (two of some fifty captures, and one maker's guide): so late must be the unit whose
	// lateness grows by a whole second. As nats, −ln 0.05.
	secondBefore = 3.0
	// relayMoves: a line over a network backs up, and catches up, in every other night (assumption: how late it
	// was says nothing of how late it is; it leaps, for a buffer fills and empties). −ln 0.5, nats.
	relayMoves = 0.7
	// knownWell, σ in s, of UTC: a stream of unknown lateness (σ 0.45 s) moves it by
	// 0.1²/(0.1² + 0.45²) = 5 % of what they differ by.
	knownWell = 0.1
	// amissVar, s²: with it the distance from the range is laid against easyStrain; beyond
	// 2·√amissVar = 0.06 s, edge and a half of floor, a stream does not fit.
	amissVar = 1e-3
)

// Oscillators.
const (
	// oscillatorLeast to oscillatorStep is how far an oscillator's rate changes suddenly, s/s
	// (assumption: activity dips of 1 to 20 ppm, described by makers without numbers).
	oscillatorLeast, oscillatorStep = 1e-6, 20e-6
	// forkStep is the largest change of rate of a tuning fork, s/s: 139 ppm at −40 °C (NXP
	// UM10301), and half as much again, for boards differ (assumption).
	forkStep = 200e-6
	// farMost, s/s: a crystal that nobody has known is off by no more. Assumption, at the price of CrystalFar: some of 20,000
	// hosts were beyond 500 ppm (Mills 2006), but a kernel turns its clock by no more (adjtimex(2): ±32,768,000/65,536 ppm).
	farMost = 500e-6
	// unlearned, s/s, σ: nobody has told a rate that is still so open. Assumption: half of the 30 ppm from which each rate
	// begins (RateSigma). Whoever is above it may say CrystalFar, at its price.
	unlearned = 15e-6
	// rateAgain, s/s, σ: a rate that was known goes on so, over what took UTC away: 1 ppm/K · 1 K
	// (0.1 to 1 ppm/K are usual, Lux and Camp 2015).
	rateAgain = 1e-6
	// between, s: so much the oscillator carries two words of one source, or of two, apart:
	// 50 ppm · 1,024 s, the usual longest pause of a server's questions (package netref).
	between = 0.05
)

// oneUpstream, nats: that a further server says the same as one that is false, for both have it from one clock,
// has the chance 0.3 (assumption, 0.1 to 0.7: few servers feed most, Rytilahti 2018, Moura 2024; who owns a network
// answers for all names). −ln 0.3.
const oneUpstream = 1.2

// Pages of leap-second data, starts.
const (
	// satelliteMiss is the chance that one satellite's page is not read (assumption): with
	// one or two in use that is what counts.
	satelliteMiss = 0.1
	// expected: leap-second data come within a page of 12.5 min. What could have come at
	// any time of 12 h and came just then costs ln(12 h / 12.5 min) = 4.05 more, nats.
	expected = 4.05
	// restarted: that a receiver was started again while the program was dead, and the computer
	// was not, 1 in 100 (assumption; it takes an unplugged cable or a weak supply). −ln 0.01, nats.
	restarted = 4.6
)

// Counts of readings.
const (
	// againFits readings in a row that fit let a source take part again. One that is anywhere
	// within ± leapt is within easyStrain, ± 2·dragFloor, 1 time in 10, so thrice 1 in 1,000.
	againFits = 3
	// againLooks: a false signal that leads a receiver on may happen to pass by. A look is 10 s, and
	// within easyStrain is ± 2·dragFloor: what moves by 0.04 s in 10 min, 67 ppm, or faster has
	// passed. Who comes with a leap does not pass by.
	againLooks = 60
	// againSteady: where any lateness fits, passing by shows by the motion alone: within ± 2·dragFloor for
	// 2,000 s moves by 20 ppm at most, what a lone receiver may be led away by unseen (README).
	againSteady = 200
	// leapt, s: a receiver that goes or comes so far at once does not pass by: wide·proved
	// + edge = 0.19, what no lateness that is known explains.
	leapt = 0.2
	// pulseOdd edges in a row, each of which stands for ten, are no spurious ones: 30 s
	// (assumption: a burst of noise on the line is shorter).
	pulseOdd = 3
)

// Where two tracks are one: to a tenth of their σ, which widens a guard by √(1 + 0.1²), half a
// percent; and to 0.1 ms and 0.01 ppm, a thousandth of floor and of the largest step.
const (
	nearShare = 0.1
	nearX     = 1e-4 // s
	nearY     = 1e-8 // s/s
)
