// Package standing tells where a station stands: a receiver's fixes and what is
// known of their errors come in; one place with its bound, and the locator square
// to name, come out.
//
// The error of a fix wanders slowly: what a minute of fixes shares, no averaging
// takes away. So a Place reckons with what the errors of its fixes have in common.
// Its bound falls little: by a twentieth in ten minutes, by a fifth in three hours,
// never below half of a single fix's; and it is never larger than the last fix's.
//
// Movement is noticed by the speed over ground that the receiver says, and by fixes
// that lie too far from the mean; averaging then begins anew. What moves more
// slowly than both can tell leaves the mean behind by up to 2.4 σ of a single fix.
//
// Values in, values out: no clock, no goroutine. One goroutine at a time.
package standing
