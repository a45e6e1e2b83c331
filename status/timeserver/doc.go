// Package timeserver answers other devices' questions for the time (NTPv4,
// RFC 5905, client and server mode only) with the judged time, not with the
// system clock, which may be wrong and unsteered.
//
// A State comes in, published by whoever owns the judge; questions come in from
// sockets; answers go out. The rules:
//
//   - Nobody may follow a guess. Where nothing is trusted, where the guard is wider
//     than a second (RFC 5905 MAXDIST: no client could use it), or where no State
//     has come for some seconds, the answer says "not synchronised" (leap indicator
//     3, stratum 16) and its stamps are the client's own, so that even a client that
//     reads nothing but the stamps learns nothing false from it.
//   - An answer is 48 octets and never longer than the question. Anything but a
//     client's question (mode 3, versions 1 to 4) is met with silence: control and
//     private modes (6, 7), other modes, short packets, multicast and broadcast.
//     Extensions and authentication are neither checked nor answered.
//   - Whoever asks too often is told so once in a while (RATE, RFC 5905 figure 13)
//     and else not answered; what is remembered of clients is bounded.
//   - A flood fills the socket's buffer, where the kernel drops it; it takes the
//     serving goroutine's time and nobody else's, as long as the program has a second
//     processor to run on (GOMAXPROCS).
package timeserver
