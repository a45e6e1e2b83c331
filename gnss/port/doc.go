// Package port finds, opens and holds the byte source of a GNSS receiver,
// through unplugging, for ever. A device name comes in; bytes with the instant
// of their arrival go out. It only ever reads: nothing is written to a port, and
// the kernel's own echo is held back. What no program can hold back is the echo of what
// comes in before the kernel's own opening of a USB adapter ends, the first since the
// start of the system: some bytes of the receiver's own (output_linux.go).
//
// Opening a serial port raises its DTR and RTS lines, and on many stations one
// of them keys the transmitter. Hence these rules, which the tests hold:
//
//   - By itself ("auto") it opens only what says it is a GNSS receiver: a USB
//     identity in the table of known.go, a kernel GNSS device (/dev/gnss0), or
//     /dev/noonmark-receiver, a name somebody gave on purpose. Never a generic
//     serial adapter: a radio's cable has the same chip.
//   - Any other port must be named. What was behind the name when it first
//     delivered sentences is remembered (Identity); something else behind the
//     same name is refused.
//   - Ports are listed from sysfs alone; listing opens nothing.
//   - A port that sends no sentences stays open and is listened to. The speed
//     is found by listening. It is not closed and opened again in a loop.
//   - DTR and RTS are lowered at once after opening: the serial library does it
//     as soon as the line is raw, and we once more. The kernel raises them inside
//     open(2), so a pulse remains, of some microseconds on a built-in port and
//     some milliseconds on a USB adapter (a few control transfers; from memory,
//     not measured here). No program can avoid it; a port that keys a transmitter
//     must not be named here. HUPCL is cleared, so that closing moves no line.
//
// A serial line is opened and set up by the serial library (library_linux.go);
// its enumerator is never called, for it opens and reprograms other ports. A moment
// before it, the line is opened and held, so that the kernel's echo sends nothing; there
// is one owner of Close.
//
// Reading costs few wake-ups: after the first bytes of a burst it rests, and
// then takes what has come in one read. While it rests the kernel has nobody
// to wake. With Config.Prompt it reads in between, for programs that share the
// sentences; when a burst begins and ends is decided by the same rests.
package port
