// Package record writes down what reaches a station, and reads it again, so that a night
// can be judged once more, to the very same judgement.
//
// The format, version 1: gzip over lines of JSON. The first line is a Header: what the
// station was told at its start, and what it had learned. Each further line is one
// station.Input with the fields that are set. Instants are nanoseconds of the local
// timescale (CLOCK_MONOTONIC_RAW of that boot), or of UTC where the name says so; bytes of
// the receiver are base64. A line is at most 64 KiB. A file may end anywhere, as it does
// when the power fails: what is whole before is good.
//
// A long record is a row of such files. Each is numbered; the first begins with the program.
// A later one goes on where the one before ended, and its header tells what had been learned
// by then, for the case that those before are gone.
//
// A kilobyte is about eight seconds of an ordinary receiver at 9600 baud: 6 MB a night.
//
// A record holds the station's place as its receiver said it: it is as private as that.
package record

import (
	"bufio"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"noonmark/clockcheck"
	"noonmark/clockcheck/steer"
	"noonmark/cmd/internal/station"
)

// Version is that of the format.
const Version = 1

// maxLine bounds a line, B. The longest is the header, or a read of the receiver's port
// after a stall: 4096 B in base64.
const maxLine = 64 << 10

// Header is the first line of a file.
type Header struct {
	Version  int                `json:"noonmark_record"`
	Run      string             `json:"run"`  // the same in all files of one run of the program
	Part     int                `json:"part"` // 1 = from its start
	Config   station.Config     `json:"config"`
	Learned  clockcheck.Learned `json:"learned"`
	Steering steer.Learned      `json:"steering"`
	Place    *station.LastPlace `json:"place,omitempty"`
}

// Station returns the station as it was at the begin of a record's part. A header that
// noonmark did not write is an error.
func (h *Header) Station() (st *station.Station, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("record: line 1 was not written by noonmark (%v)", p)
		}
	}()
	cfg := h.Config
	if cfg.Steer != nil {
		s := *cfg.Steer
		s.Learned = h.Steering
		cfg.Steer = &s
	}
	st = station.New(cfg, h.Learned)
	st.Remember(h.Place)
	return st, nil
}

// Writer writes one file.
type Writer struct {
	zip *gzip.Writer
	err error
}

// NewWriter begins a file with its header.
func NewWriter(w io.Writer, h Header) *Writer {
	h.Version = Version
	// A quarter larger than the usual level makes it, at a third of the work: a battery pays
	// for the work.
	zip, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
	out := &Writer{zip: zip, err: err}
	out.put(h)
	return out
}

// Put writes an input. An error shows at Flush and Close.
func (w *Writer) Put(in *station.Input) { w.put(in) }

func (w *Writer) put(v any) {
	b, err := json.Marshal(v)
	if err == nil && len(b) >= maxLine {
		err = fmt.Errorf("record: a line of %d B, at most %d", len(b), maxLine)
	}
	if err == nil && w.err == nil {
		_, err = w.zip.Write(append(b, '\n'))
	}
	w.err = errors.Join(w.err, err)
}

// Flush sees to it that what was put can be read, whatever comes.
func (w *Writer) Flush() error { return errors.Join(w.err, w.zip.Flush()) }

// Close ends the file.
func (w *Writer) Close() error { return errors.Join(w.err, w.zip.Close()) }

// Reader reads one file.
type Reader struct {
	Header Header
	in     *bufio.Scanner
	line   int
}

// ErrNoRecord says that a file is none of these.
var ErrNoRecord = errors.New("record: not a record of a station")

// Is tells whether a file may be a record: it begins as gzip does (RFC 1952).
func Is(file []byte) bool { return len(file) > 2 && file[0] == 0x1f && file[1] == 0x8b }

// NewReader reads the header. ErrNoRecord is for what is no record at all.
func NewReader(r io.Reader) (*Reader, error) {
	zip, err := gzip.NewReader(r)
	if err != nil {
		return nil, ErrNoRecord
	}
	zip.Multistream(false)
	out := &Reader{in: bufio.NewScanner(zip)}
	out.in.Buffer(make([]byte, 0, 4096), maxLine)
	var v struct {
		Version *int `json:"noonmark_record"`
	}
	first, err := out.next()
	if err != nil || json.Unmarshal(first, &v) != nil || v.Version == nil {
		return nil, ErrNoRecord
	}
	if *v.Version != Version {
		return nil, fmt.Errorf("record: it is of version %d, and this program reads version %d: use the noonmark that wrote it", *v.Version, Version)
	}
	if err := json.Unmarshal(first, &out.Header); err != nil {
		return nil, fmt.Errorf("record: line 1: %w", err)
	}
	return out, nil
}

func (r *Reader) next() ([]byte, error) {
	r.line++
	if r.in.Scan() {
		return r.in.Bytes(), nil
	}
	if err := r.in.Err(); errors.Is(err, bufio.ErrTooLong) {
		return nil, fmt.Errorf("record: line %d is longer than %d B", r.line, maxLine)
	}
	return nil, io.EOF // its end, or where the power failed
}

// Next returns the next input, or io.EOF. A damaged line is an error, and the next call goes
// on behind it; a line cut off by the end of the file is its end.
func (r *Reader) Next() (*station.Input, error) {
	b, err := r.next()
	if err != nil {
		return nil, err
	}
	in := new(station.Input)
	if err := json.Unmarshal(b, in); err != nil {
		return nil, &Damaged{r.line, err}
	}
	return in, nil
}

// Play lets a station take all inputs that are left, and calls each after every one; damaged
// lines are counted and left out. What no station can have been given, in a file that somebody
// made up, is an error.
func (r *Reader) Play(st *station.Station, each func(*station.Input)) (inputs, damaged uint64, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("record: line %d was not written by noonmark (%v)", r.line, p)
		}
	}()
	for {
		in, err := r.Next()
		var d *Damaged
		switch {
		case errors.Is(err, io.EOF):
			return inputs, damaged, nil
		case errors.As(err, &d):
			inputs, damaged = inputs+1, damaged+1
			continue
		case err != nil:
			return inputs, damaged, err
		}
		inputs++
		st.Take(in)
		each(in)
	}
}

// Damaged is a line that cannot be read.
type Damaged struct {
	Line int
	Err  error
}

func (d *Damaged) Error() string { return fmt.Sprintf("record: line %d: %v", d.Line, d.Err) }
func (d *Damaged) Unwrap() error { return d.Err }
