package port

// sniffer tells sentences from noise, byte by byte. It knows only the frame
// ($ or !, address, fields, *, two hex digits of the XOR over what lies
// between: NMEA 0183), so that bytes at a wrong speed, which pass an 8-bit
// checksum by chance once in 256 tries, would also have to be printable and
// begin with an address.
type sniffer struct {
	sentences int // with a right checksum
	junk      int // bytes outside them since the last right one

	n     int // bytes of the frame so far, 0 = outside
	sum   byte
	hex   int // digits of the checksum read
	given byte
}

// maxFrame is longer than the 82 bytes of the standard: real receivers exceed
// it (from memory).
const maxFrame = 160

func (s *sniffer) feed(p []byte) {
	for _, b := range p {
		s.byte(b)
	}
}

func (s *sniffer) byte(b byte) {
	switch {
	case b == '$' || b == '!':
		s.junk += s.n
		s.n, s.sum, s.hex, s.given = 1, 0, 0, 0
	case s.n == 0:
		if b != '\r' && b != '\n' {
			s.junk++
		}
	case s.hex > 0:
		s.digit(b)
	case b == '*' && s.n >= 6:
		s.hex = 1
		s.n++
	case b < ' ' || b > '~' || s.n >= maxFrame || s.n <= 5 && !addressByte(b):
		s.junk += s.n + 1
		s.n = 0
	default:
		s.sum ^= b
		s.n++
	}
}

// digit takes the hex digits after the asterisk; hex is 1 before the first.
func (s *sniffer) digit(b byte) {
	v, ok := hexDigit(b)
	if !ok {
		s.junk += s.n + 1
		s.n = 0
		return
	}
	s.given = s.given<<4 | v
	s.n++
	if s.hex++; s.hex < 3 {
		return
	}
	if s.given == s.sum {
		s.sentences++
		s.junk = 0
	} else {
		s.junk += s.n
	}
	s.n = 0
}

func addressByte(b byte) bool { return b >= 'A' && b <= 'Z' || b >= '0' && b <= '9' }

func hexDigit(b byte) (byte, bool) {
	switch {
	case b >= '0' && b <= '9':
		return b - '0', true
	case b >= 'A' && b <= 'F':
		return b - 'A' + 10, true
	case b >= 'a' && b <= 'f':
		return b - 'a' + 10, true
	}
	return 0, false
}
