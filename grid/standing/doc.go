// Package standing tells where a station stands: a receiver's fixes and what is
// known of their errors come in; one place with its bound, and the locator square
// to name, come out.
//
// The error of a fix wanders slowly: what a minute of fixes shares, no averaging
// takes away. So a Place reckons with what the errors of its fixes have in common.
// Its bound falls little: by a twentieth in ten minutes, by a fifth in three hours,
// never below half of a single fix's; and it is never larger than the last fix's.
//
// Movement is noticed by the speed over ground that the receiver says (from 0.3 m/s on
// within 20 s), and by fixes that lie too far from the mean; averaging then begins again.
// What moves more slowly looks like the wander of a station that stands. So the place
// stays within 0.35 σ of the last fix, farther only as far as the receiver's own speed
// rules out that the station has gone there: the bound holds at every speed.
//
// Values in, values out: no clock, no goroutine. One goroutine at a time.
package standing
