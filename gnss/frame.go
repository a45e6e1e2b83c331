package gnss

import "noonmark/clockcheck/timescale"

// maxLine is the longest sentence taken. The standard says 82 characters; precise
// positions and proprietary sentences of real receivers exceed it.
const maxLine = 256

// frame is the state of the framer: where in a line the stream is.
type frame struct {
	in    bool            // inside a sentence
	line  [maxLine]byte   // from the start character on
	n     int             // length of it so far
	sum   byte            // XOR of what stands between start character and '*'
	star  int             // index of '*', 0 = not yet
	start timescale.Local // when the start character began to arrive
	pos   uint64          // its place in the stream

	text, binary int  // bytes outside sentences since the last line end, by kind
	lineHas      bool // the present text line has something in it
}

func (f *frame) reset() {
	f.in, f.n, f.text, f.binary = false, 0, 0, 0
}

// ordinary bytes neither end a sentence nor begin one.
func ordinary(c byte) bool { return c >= 0x20 && c <= 0x7e && c != '$' }

// scan runs p through the framer. at is the end of its last byte.
func (d *Decoder) scan(p []byte, at timescale.Local) {
	for i := 0; i < len(p); {
		if d.in {
			i = d.inside(p, i, at)
			continue
		}
		switch c := p[i]; {
		case c == '$' || c == '!':
			d.begin(i, p, at, c)
		case c == '\r' || c == '\n':
			d.endJunk(false)
			d.endLine()
		case c >= 0x20 && c <= 0x7e || c == '\t':
			d.text++
			d.lineHas = true
		default:
			d.binary++
			d.lineHas = true
		}
		i++
	}
}

// begin starts a sentence at p[i].
func (d *Decoder) begin(i int, p []byte, at timescale.Local, c byte) {
	d.endJunk(true)
	d.in, d.lineHas = true, true
	d.line[0], d.n, d.sum, d.star = c, 1, 0, 0
	d.start = at.Add(-d.wire(len(p) - i))
	if d.fed && d.start < d.lastAt { // a late read cannot make bytes older than the read before
		d.start = d.lastAt
	}
	d.pos = d.tally.bytes + uint64(i)
}

// inside takes the bytes of a sentence from p[i] on and returns the index of the
// first byte it did not take.
func (d *Decoder) inside(p []byte, i int, at timescale.Local) int {
	n, sum, star := d.n, d.sum, d.star
	for i < len(p) && n < maxLine && ordinary(p[i]) {
		c := p[i]
		if c == '!' && star > 0 && n >= star+3 {
			break
		}
		d.line[n] = c
		if star == 0 {
			if c == '*' {
				star = n
			} else {
				sum ^= c
			}
		}
		n++
		i++
	}
	d.n, d.sum, d.star = n, sum, star
	if i == len(p) {
		return i
	}
	switch c := p[i]; {
	case c == '\r' || c == '\n':
		d.endSentence(true)
		d.endLine()
		return i + 1
	case c == '$' || c == '!' && d.sumDone():
		d.endSentence(false)
		d.begin(i, p, at, c)
		return i + 1
	case d.sumDone(): // something else right behind a whole sentence
		d.endSentence(true)
	case n == maxLine:
		d.drop(skipLong)
	default:
		d.drop(skipBinary)
	}
	return i // outside now: judged again there
}

// drop gives the present sentence up.
func (d *Decoder) drop(why reason) {
	d.tally.skipped[why]++
	d.in = false
}

// endJunk counts what stood outside sentences, by kind.
func (d *Decoder) endJunk(sentence bool) {
	switch {
	case d.binary > 0:
		d.tally.skipped[skipBinary]++
	case d.text > 0 && sentence:
		d.tally.skipped[skipPrefix]++
	case d.text > 0:
		d.tally.skipped[skipText]++
	}
	d.text, d.binary = 0, 0
}

func (d *Decoder) endLine() {
	if d.lineHas {
		d.tally.lines++
		d.lineHas = false
	}
}

// sumDone tells whether the line ends in, or is followed after, a whole *hh.
func (f *frame) sumDone() bool { return f.star > 0 && f.n >= f.star+3 }

// endSentence takes the line as it stands: its end was seen (ended), or the next
// sentence began.
func (d *Decoder) endSentence(ended bool) {
	d.in = false
	body := d.n
	if d.star > 0 {
		body = d.star
	}
	switch {
	case d.sumDone():
		if !d.sumRight() {
			d.tally.skipped[skipChecksum]++
			return
		}
		d.sums = true
		d.sentence(d.line[1:body], false)
	case !ended:
		d.tally.skipped[skipCut]++
	case d.star > 0: // '*' and not two digits
		d.tally.skipped[skipChecksum]++
	case d.cfg.RequireChecksum || d.sums && !d.cfg.AcceptUnchecked:
		d.tally.skipped[skipNoSum]++
	default:
		d.sentence(d.line[1:body], true)
	}
}

// sumRight compares *hh, in either case of letters. What follows the two digits
// (a logger's column, a blank) is not looked at, unless it could be a third
// digit.
func (d *Decoder) sumRight() bool {
	hi, lo := hex(d.line[d.star+1]), hex(d.line[d.star+2])
	if d.n > d.star+3 {
		c := d.line[d.star+3]
		if hex(c) < 16 || c >= 'g' && c <= 'z' || c >= 'G' && c <= 'Z' {
			return false
		}
	}
	return hi < 16 && lo < 16 && hi<<4|lo == d.sum
}

// hex is the value of a hexadecimal digit, 255 if it is none.
func hex(c byte) byte {
	switch {
	case c >= '0' && c <= '9':
		return c - '0'
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10
	}
	return 255
}
