package gnss

import (
	"time"

	"noonmark/clockcheck/timescale"
)

// Config is what a Decoder must know about its stream. The zero value is right
// for anything that is not a serial line.
type Config struct {
	// Baud is the speed of a real serial line (10 bits a byte). Arrivals are then
	// dated back from the end of each read by the bytes it delivered. 0: not a
	// serial line (network, file, pty, a USB receiver without a UART in it, whose
	// nominal speed means nothing): no dating back.
	Baud int
	// RequireChecksum refuses every sentence without *hh. AcceptUnchecked takes
	// them always (RequireChecksum wins). With neither, they are taken until the
	// first sentence with a right checksum, and never after it.
	RequireChecksum, AcceptUnchecked bool
	// BuildDate places two-digit years: in the hundred years that begin 46 years
	// before it (1980 to 2079 if it is zero or in 2026). Never today's date: that
	// would come from the clock being judged.
	BuildDate timescale.UTC
}

const (
	idleGap  = 50 * time.Millisecond  // silence that separates bursts
	longGap  = 500 * time.Millisecond // silence that closes even an incomplete epoch
	copyTime = 1500 * time.Millisecond
	// copyTime: a time heard again within it is late or a copy; after it, the
	// receiver is stuck or has stepped back.
)

// Decoder turns bytes into epochs. Make one with NewDecoder.
type Decoder struct {
	frame
	cfg       Config
	yearFirst int

	lastAt timescale.Local // end of the last byte fed
	fed    bool            // lastAt holds
	tally  tally
	sums   bool // a right checksum was seen

	asm   assembler
	queue []Epoch
	head  int
	gsv   gsvStore
}

// NewDecoder returns a decoder at the start of a stream.
func NewDecoder(cfg Config) *Decoder {
	d := &Decoder{cfg: cfg, yearFirst: 1980}
	if cfg.BuildDate != 0 {
		d.yearFirst = max(1980, cfg.BuildDate.Time().Year()-46)
	}
	d.tally.byType = make(map[[5]byte]*uint64)
	d.SetBaud(cfg.Baud)
	return d
}

// SetBaud changes the line speed for what is fed from now on; 0 or less turns
// dating back off.
func (d *Decoder) SetBaud(baud int) { d.cfg.Baud = max(baud, 0) }

// wire is how long n bytes take on the line.
func (d *Decoder) wire(n int) time.Duration {
	if d.cfg.Baud == 0 {
		return 0
	}
	return time.Duration(int64(n) * 10 * timescale.Second / int64(d.cfg.Baud))
}

// Feed decodes p, whose last byte had arrived at the instant at (when the read
// that delivered it returned). p is not kept. Instants must not decrease; one
// that does is taken as the latest seen.
func (d *Decoder) Feed(p []byte, at timescale.Local) { d.feed(p, at, false) }

// Continue is Feed for bytes that were not preceded by a silence although the
// last read is a while ago: the reader rested, to wake up less often, while the
// line went on.
func (d *Decoder) Continue(p []byte, at timescale.Local) { d.feed(p, at, true) }

func (d *Decoder) feed(p []byte, at timescale.Local, flowing bool) {
	if len(p) == 0 {
		return
	}
	if d.fed && at < d.lastAt {
		at = d.lastAt
	}
	first := at.Add(-d.wire(len(p)))
	switch {
	case flowing:
		d.asm.noGap()
	case d.fed && first > d.lastAt:
		d.silence(first.Sub(d.lastAt), p[0] == '$' || p[0] == '!')
	}
	d.asm.guessed = false
	d.scan(p, at)
	d.tally.bytes += uint64(len(p))
	d.lastAt, d.fed = at, true
}

// Flush tells the decoder that nothing more has arrived until now, so that an
// epoch can be finished by silence. Call it from the owner's tick, a few times a
// second.
func (d *Decoder) Flush(now timescale.Local) {
	if d.fed && now > d.lastAt {
		d.asm.guessed = d.silence(now.Sub(d.lastAt), false) || d.asm.guessed
	}
}

// silence acts on a gap of length s after the last byte, and reports whether it
// separates bursts. next tells that a new sentence is known to follow.
func (d *Decoder) silence(s time.Duration, next bool) bool {
	if s < idleGap {
		return false
	}
	if d.in && d.sumDone() { // the line end got lost, or never comes (datagrams)
		d.endSentence(true)
	}
	if d.in && !next && s < longGap {
		return false // a network split one sentence in two
	}
	d.asm.gap(d, s)
	return true
}

// Discard tells the decoder that what it is fed next was waiting in a buffer
// (the port was just opened, or was not read for a while): an unfinished
// sentence is dropped, and the epochs until the first silence are marked
// Backlog. Call it right before the first read: if 50 ms pass after now without a
// byte, nothing was waiting.
func (d *Decoder) Discard(now timescale.Local) {
	d.asm.finish(d)
	d.reset()
	d.asm.backlog = true
	d.lastAt, d.fed = max(now, d.lastAt), true
}

// Next returns the next finished epoch, oldest first, and false if there is none
// for now.
func (d *Decoder) Next() (Epoch, bool) {
	if d.head == len(d.queue) {
		d.queue, d.head = d.queue[:0], 0
		return Epoch{}, false
	}
	d.head++
	return d.queue[d.head-1], true
}
