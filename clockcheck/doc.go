// Package clockcheck judges a system clock: readings of references and instants of the
// local timescale come in, a judgement comes out: how far the clock is from UTC, how sure
// that is, what proves it, and for each timed mode whether the clock is inside the mode's
// tolerance. Here are the words that all of its rooms share: what a reading is, what a
// judgement says, what is kept over a power-off, and the table of modes. The judge itself is
// package banked: it stands on the bank of explanations (package bank).
//
// One law stands above the others: never Within while the true error exceeds the tolerance.
//
// Limits that no judge removes: a lone receiver without an ear that is dragged off slowly
// (below 200 ppm) is seen late or not at all, nor is one seen through that is wrong by whole
// seconds from its start and stays so, or steps back by them while leap-second data may be
// missing. A lone server, and a hardware clock set while the program did not run, are
// believed until something contradicts.
package clockcheck
