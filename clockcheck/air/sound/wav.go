// Package sound holds recorded or arriving sound: reading it from the forms in which
// it comes, bringing it to the one rate that the analysis works at, and tying its
// samples to the local timescale.
//
// It is pure: bytes and instants come in as arguments. Any goroutine may call.
package sound

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// Rate is the sampling rate, Hz, that everything after this package works at: symbols
// of all modes are whole numbers of its samples, and a voice channel fits below half of it.
const Rate = 8000

// Rates that are taken, Hz.
const minRate, maxRate = 8000, 48000

// UsualRates are those that sound is usually sampled at, Hz.
var UsualRates = [...]int{8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000}

// Piece is sound without a hole in it.
type Piece struct {
	Rate    int
	Samples []float32 // −1 to 1
}

// Seconds is its length.
func (p Piece) Seconds() float64 { return float64(len(p.Samples)) / float64(p.Rate) }

// ErrShort is the error of a file that ends before the length that it states; what was
// there is returned with it.
var ErrShort = errors.New("the file ends before its sound does")

const (
	formatPCM        = 1
	formatExtensible = 0xFFFE
)

// WAV reads a RIFF WAVE file of 16-bit PCM: 8 to 48 kHz, one channel, or channel (0 is
// left) of two. Chunks that it does not know are passed over.
// Source: Multimedia Programming Interface and Data Specifications 1.0 (1991), "Waveform Audio File Format".
func WAV(file []byte, channel int) (p Piece, err error) {
	if len(file) < 12 || string(file[:4]) != "RIFF" || string(file[8:12]) != "WAVE" {
		return p, errors.New("sound: this is no WAV file")
	}
	channels := 0
	for rest := file[12:]; len(rest) >= 8; {
		name, size := string(rest[:4]), int64(binary.LittleEndian.Uint32(rest[4:]))
		body := rest[8:]
		short := size > int64(len(body))
		if !short {
			body = body[:size]
		}
		switch name {
		case "fmt ":
			if p.Rate, channels, err = format(body); err != nil {
				return p, err
			}
		case "data":
			if channels == 0 {
				return p, errors.New("sound: the WAV file does not say what its samples are")
			}
			if p.Samples, err = Raw(body, channels, channel); err == nil && short {
				err = fmt.Errorf("sound: %w: %d of %d bytes", ErrShort, len(body), size)
			}
			return p, err
		}
		if short || size+size%2 > int64(len(rest)-8) {
			break
		}
		rest = rest[8+size+size%2:]
	}
	return p, errors.New("sound: there is no sound in the WAV file")
}

func format(body []byte) (rate, channels int, err error) {
	if len(body) < 16 {
		return 0, 0, errors.New("sound: the WAV file's format is cut off")
	}
	tag, channels := binary.LittleEndian.Uint16(body), int(binary.LittleEndian.Uint16(body[2:]))
	rate, bits := int(binary.LittleEndian.Uint32(body[4:])), binary.LittleEndian.Uint16(body[14:])
	if tag == formatExtensible && len(body) >= 26 {
		tag = binary.LittleEndian.Uint16(body[24:])
	}
	if tag != formatPCM || bits != 16 {
		return 0, 0, fmt.Errorf("sound: samples must be 16-bit PCM; these are of format %d with %d bits", tag, bits)
	}
	return rate, channels, CheckRate(rate)
}

// CheckRate says whether sound of this rate, Hz, can be taken.
func CheckRate(rate int) error {
	if rate < minRate || rate > maxRate {
		return fmt.Errorf("sound: the sampling rate must be %d to %d Hz, not %d", minRate, maxRate, rate)
	}
	return nil
}

// Raw reads interleaved samples, 16 bit, little-endian, and keeps one channel. An odd
// end is dropped.
func Raw(b []byte, channels, channel int) ([]float32, error) {
	if channels < 1 || channels > 2 {
		return nil, fmt.Errorf("sound: one or two channels can be read, not %d", channels)
	}
	if channel < 0 || channel >= channels {
		return nil, fmt.Errorf("sound: there is no channel %d; there are %d", channel+1, channels)
	}
	out := make([]float32, len(b)/(2*channels))
	for i := range out {
		out[i] = float32(int16(binary.LittleEndian.Uint16(b[2*(i*channels+channel):]))) / 32768
	}
	return out, nil
}
