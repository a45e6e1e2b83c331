// Package bank holds the explanations of what a station has heard: multiple-hypothesis
// solution separation, as receivers' integrity monitors do it (Blanch and others,
// Baseline Advanced RAIM User Algorithm, IEEE Trans. Aerospace and Electronic Systems,
// 2015), with sources of time in place of satellites.
//
// A Track is one complete account: which source is false since when, how late the
// receiver is, which whole second it is, whether a clock was set or an oscillator
// moved. It has its own filter and a cost in nats, the sum of the prices of what it
// assumes (prices.go). A Reading goes to each track in turn: the track hears it, or
// ignores it, or cannot explain it; then the track gives way to children that can, each
// dearer by a price.
//
//   - The estimate is that of the cheapest track (Best), and of what its stream tells with the
//     noises that fit it (quiet.go): the tracks' own noises are wary.
//   - The guard spans all tracks but the least likely, which together weigh less than
//     half the allowed risk (guard.go).
//   - A track is never narrowed because another is likelier. It is left out when it has
//     become too dear, and merged to an interval where there are too many.
//   - Solutions without a source exist before they are needed: the bank keeps how it
//     stood 15 s, 2 min, 10 min, 1 h and 2 h ago, and runs on from there without the
//     receiver (former.go); and one track without each witness from its first word.
//   - What cannot be contradicted is believed: a track without a lone witness is
//     latent until the best track has had to pay for something.
//
// The bank is a value machine: no I/O, no goroutine, no clock; it allocates nothing
// once it is made. One goroutine at a time may use it. It knows no words: package
// explain reads them off it.
package bank
