package reader

import (
	"errors"
	"io"
	"strings"
	"syscall"
	"testing"
)

// A raw terminal has no end of file: where one comes, or an error, the terminal is gone.
func TestQuitKey(t *testing.T) {
	for _, row := range []struct {
		name string
		in   io.Reader
		want error
	}{
		{"the line is cut", strings.NewReader(""), errGone},
		{"keys that mean nothing, then it is cut", strings.NewReader("abc\x1b[A"), errGone},
		{"hung up", broken{}, syscall.EIO},
		{"q", strings.NewReader("aq"), nil},
		{"Q", strings.NewReader("Q"), nil},
		{"Ctrl-C", strings.NewReader("\x03"), nil},
		{"Ctrl-D", strings.NewReader("\x04"), nil},
	} {
		if err := quitKey(row.in); !errors.Is(err, row.want) || (err == nil) != (row.want == nil) {
			t.Errorf("%s: %v, want %v", row.name, err, row.want)
		}
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, syscall.EIO }
