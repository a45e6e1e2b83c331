package reader

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"golang.org/x/term"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/screen"
	"noonmark/cmd/internal/sleep"
	"noonmark/status"
)

var errNoTerminal = exit.Usage(errors.New("screen: this is no terminal; use noonmark ready, or noonmark why"))

// Screen shows the verdict live until q, Ctrl-C or the end of ctx.
func Screen(ctx context.Context, c cli.Screen, in io.Reader, out io.Writer) (err error) {
	keys, ok1 := in.(*os.File)
	tty, ok2 := out.(*os.File)
	if !ok1 || !ok2 || !term.IsTerminal(int(keys.Fd())) || !term.IsTerminal(int(tty.Fd())) {
		return errNoTerminal
	}
	former, err := term.MakeRaw(int(keys.Fd()))
	if err != nil {
		return fmt.Errorf("screen: %w", err)
	}
	defer term.Restore(int(keys.Fd()), former)
	told := ctx
	ctx, stop := context.WithCancelCause(told)
	defer stop(nil)
	go func() { // ends with the program: a read of a terminal cannot be broken off
		stop(quitKey(keys))
	}()
	p, err := screen.NewPainter(tty)
	if err != nil {
		return fmt.Errorf("screen: %w", err)
	}
	defer p.Close()
	for {
		wait, err := paint(p, tty, c)
		if err != nil {
			return fmt.Errorf("screen: %w", err)
		}
		if sleep.For(ctx, wait) != nil {
			if err := context.Cause(ctx); told.Err() == nil && !errors.Is(err, context.Canceled) {
				return fmt.Errorf("screen: %w", err)
			}
			return nil
		}
	}
}

// paint shows what is so now; it returns how long that lasts.
func paint(p *screen.Painter, tty *os.File, c cli.Screen) (time.Duration, error) {
	columns, lines, err := term.GetSize(int(tty.Fd()))
	if err != nil || columns <= 0 || lines <= 0 {
		columns, lines = 80, 24 // a line without a size: the usual one
	}
	size := screen.Size{Columns: columns, Lines: lines}
	s, now, err := Published(c.RunDir)
	problem := ""
	if err != nil {
		problem = "Nothing to go by: " + err.Error() + "."
	}
	if err := p.Paint(screen.Picture(s, now, problem, size), size); err != nil {
		return 0, err
	}
	return untilSecond(s, now), nil
}

// untilSecond is how long the second shown lasts.
func untilSecond(s status.Snapshot, now status.Now) time.Duration {
	shown := now.System
	if s.Clock.ErrorS.OK {
		shown = shown.Add(-time.Duration(s.Clock.ErrorS.V * 1e9))
	}
	into := time.Duration(shown) % time.Second
	return min(max(time.Second-into, 10*time.Millisecond), time.Second)
}

// errGone: a raw terminal gives Ctrl-D as a byte, so its end of file is a hang-up.
var errGone = errors.New("the terminal is gone")

// quitKey reads keys until one that means the end; the error is that of a terminal that
// is gone.
func quitKey(in io.Reader) error {
	var b [16]byte
	for {
		n, err := in.Read(b[:])
		for _, k := range b[:n] {
			if k == 'q' || k == 'Q' || k == 0x03 || k == 0x04 {
				return nil
			}
		}
		if errors.Is(err, io.EOF) {
			return errGone
		}
		if err != nil {
			return err
		}
	}
}
