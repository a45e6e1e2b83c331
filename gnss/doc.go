// Package gnss turns the bytes of a satellite receiver into epochs: NMEA 0183
// sentences with the instant of their arrival go in, one Epoch for each UTC
// instant the receiver named comes out.
//
// It is a value machine: no goroutine, no clock, no I/O. The owner of the port
// calls Feed after each read and Flush from its tick, then drains Next. One
// goroutine at a time may use a Decoder.
//
// Nothing a receiver sends is an error here: what cannot be used is skipped and
// counted by reason (see Counts).
//
// # What go-nmea does, and what it does not
//
// Framing, checksum, times, dates and positions are done here, because the
// library's own reading of them has no range checks (it takes 25:61:99, the 31st
// of February, NaN degrees, and an empty position as 0°,0°) and because two of
// its sentence types panic. Of github.com/adrianmo/go-nmea this package uses
// BaseSentence and Parser: status letters, numbers and the refusal of the rest
// of a bad sentence, each behind a test of its spelling. Its sentence structs
// and its package-level Parse are never called.
//
// # How an epoch is put together
//
//   - RMC, GGA, GNS and GLL name the time; the same time belongs to the same
//     epoch, whatever the talker. A change of time closes the epoch.
//   - Silence closes it too: 50 ms if it holds every type of sentence the epoch
//     before it held, otherwise 500 ms, for there are receivers that pause
//     0.2 s in the middle (seen in a ship's log: GGA at +0.125 s, RMC at
//     +0.36 s; OceanDataTools/openrvdas, MIT). GSV counts never close anything.
//   - ZDA lends its date, and its time only where nothing else names one: in
//     real receivers it is the moment of output, or a second away from the fix.
//   - A sentence naming a time that an epoch of the last 1.5 s already had is
//     late or a relay's copy: no new epoch.
//   - Without a time at all (no fix yet) each burst gives an epoch with HasTime
//     false, so that silence and "no time yet" can be told apart.
package gnss
