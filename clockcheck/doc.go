// Package clockcheck judges a system clock: readings of references and instants
// of the local timescale come in, a judgement comes out: how far the clock is
// from UTC, how sure that is, what proves it, and for each timed mode whether
// the clock is inside the mode's tolerance.
//
// The Judge is a value machine: it does no I/O, starts no goroutine and reads
// no clock. Same readings in the same order give the same judgement. It must be
// used by one goroutine at a time.
//
// # Rules
//
// One rule stands above the others: never Within while the true error exceeds
// the tolerance. The rest serve it:
//
//   - One joint estimator (filter.go) carries UTC − local timescale, its rate,
//     the receiver's arrival latency, and the RTC's offset and rate.
//   - What is reported follows a learned receiver as closely as an ordinary
//     oscillator wants; what verdicts reckon with spans the wary view too (streamview.go).
//   - What is not Gaussian stays out of the covariance: whole-second hypotheses
//     and the possible range of an unproved latency are kept as a hull around
//     the estimate (judge.go, agree.go).
//   - Agreement and proof count only between references of disjoint ancestry.
//   - Two references that disagree with no third: one wins only if the fault of
//     the other is explained or self-declared. Otherwise the guard spans both.
//   - A receiver's pulse refines the second that others name (pps.go); an operator's
//     mark is a witness with a wide bound (mark.go).
//   - The air (air.go) is a witness: the crowd of other stations' signals modulo their
//     mode's period, and time-signal stations. The crowd never moves x by whole seconds.
//   - A thermometer makes the estimate better while no reference tells the rate, and
//     the guard wider, never narrower (package thermal).
//   - A run of the program in the same boot goes on from what the one before it knew,
//     as through a silence (held.go); over a power-off only the RTC speaks for it.
//   - A verdict falls at once and rises, to within or from outside, after it has held for 2 s.
//
// Limits that no rule here removes: a lone receiver without an ear that is dragged off slowly
// (below 200 ppm; see drag.go) is seen late or not at all, nor is one seen through
// that is wrong by whole seconds from its start and stays so, or steps back by them
// while leap-second data may be missing. A lone server, and a hardware clock set
// while the program did not run, are believed until something contradicts.
package clockcheck
