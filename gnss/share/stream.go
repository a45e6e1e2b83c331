package share

import "bytes"

// stream gives whole lines to something that takes as many bytes as it likes.
type stream struct {
	// write takes what it can without waiting; (0, nil) when that is nothing.
	write func(p []byte) (int, error)
	rest  []byte // of the line that was begun
}

// deliver writes lines, as far as they are taken: the line that was begun before
// comes first, and whole lines are lost. After an error the stream is of no more use.
func (s *stream) deliver(lines []byte) (lost int64, err error) {
	if len(s.rest) > 0 {
		n, err := s.write(s.rest)
		s.rest = s.rest[n:]
		if len(s.rest) > 0 || err != nil {
			return countLines(lines), err
		}
	}
	n, err := s.write(lines)
	if n == len(lines) || err != nil {
		return 0, err
	}
	end := n
	if n > 0 && lines[n-1] != '\n' {
		if i := bytes.IndexByte(lines[n:], '\n'); i >= 0 {
			end = n + i + 1
		} else {
			end = len(lines)
		}
	}
	s.rest = append(s.rest[:0], lines[n:end]...)
	return countLines(lines[end:]), nil
}

// stuck reports whether the last line begun could not be finished.
func (s *stream) stuck() bool { return len(s.rest) > 0 }
