// Package steer decides what is to be done to the system clock and to the hardware
// clock. In: the judge's Judgement, the instant, what the kernel says. Out: Actions,
// plain structs, which somebody else carries out. A Steerer is a value machine: no
// I/O, no goroutine, no clock. It belongs to one goroutine. The one file that talks
// to the kernel is kernel_linux.go.
//
// # Rules
//
//   - A step only if the worst error after it is smaller than the worst before, if
//     the error is large (step_over_s), and if nothing was within yet or the gap has
//     come, in the clock's time before the step and after it (gap.go). Where no
//     instant lies in both gaps, the gap before counts: then our own transmitter is
//     silent.
//   - Else the clock is turned slowly, by a correction that ends by itself: a program
//     that is killed leaves no slew running. The frequency word holds the learned rate
//     of the oscillator and nothing else (phase.go).
//   - At start the kernel's state is read back, and what an earlier program left in it
//     is taken out. A program that ends in order ends its correction.
//   - What somebody else does once is noticed, reported, corrected; so are a few steps
//     of an operator who corrects himself. A steady hand is another program at work:
//     say so, touch nothing, look again later, or at the operator's word (watch.go).
//   - The kernel is told the truth, for all who ask it: whether anybody vouches for the
//     clock, its largest and its likely error, a leap second of the present day
//     (tell.go). Nobody vouches for a clock that only the RTC set: the kernel would
//     write it back into that very RTC.
//   - The hardware clock is set from a proved clock so that its edge is right, rarely;
//     where the first tick after a write comes is measured, per chip (rtc.go).
//
// Sources: Linux 6.1 kernel/time/ntp.c and timekeeping.c, adjtimex(2), clock_adjtime(2).
package steer
