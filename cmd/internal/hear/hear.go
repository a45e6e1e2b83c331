package hear

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"runtime/debug"
	"time"

	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/sound"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/reader"
	"noonmark/status"
)

// maxFile is the largest file that is read: 20 minutes at 48 kHz, two channels.
const maxFile = 256 << 20

// Hear does what the command line asks for.
func Hear(ctx context.Context, c cli.Hear, in io.Reader, out, errOut io.Writer) (int, error) {
	m, err := band.ModeNamed(c.Mode)
	if err != nil {
		return exit.Misuse, exit.Usage(err)
	}
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	h := &hearer{out: out, sample: hostclock.Sample, now: hostclock.Now,
		tell: func(r control.Request) (control.Answer, error) { return control.Tell(env.ReadDirs(c.RunDir), r) }}
	h.stepped = func() (time.Duration, bool) {
		s, now, err := reader.Published(c.RunDir)
		if err != nil || !status.Fresh(s, now).OK {
			return 0, false
		}
		return s.SteppedAgo()
	}
	switch {
	case c.Offsets:
		return h.byHand(c, m)
	case len(c.Words) > 0 && !c.Raw:
		return files(c, m, out)
	}
	if err := sound.CheckRate(c.Rate); err != nil {
		return exit.Misuse, exit.Usage(err)
	}
	defer frugal()()
	if c.Raw {
		return h.live(ctx, c, m, in)
	}
	return record(ctx, c, func(ctx context.Context, sound io.Reader) (int, error) { return h.live(ctx, c, m, sound) })
}

// frugal has the program listen on and on with little: one processor, for handing each block from one to the other costs
// more than what is done with it, and garbage collected when it is a quarter of what is in use. It returns the undo.
func frugal() (undo func()) {
	processors, percent := runtime.GOMAXPROCS(1), debug.SetGCPercent(25)
	return func() {
		runtime.GOMAXPROCS(processors)
		debug.SetGCPercent(percent)
	}
}

// files examines recordings, each for itself.
func files(c cli.Hear, m band.Mode, out io.Writer) (code int, err error) {
	code = exit.No
	var at stamp
	if c.At != "" {
		if at, err = readAt(c.At); err != nil {
			return exit.Misuse, exit.Usage(err)
		}
	}
	enc := json.NewEncoder(out)
	for _, path := range c.Words {
		p, word, err := read(path, c.Channel-1)
		if err != nil {
			return exit.No, fmt.Errorf("hear: %w", err)
		}
		f := examineSpan(p, m, span{into: at.into(m), anywhere: c.At != "", station: c.Station})
		f.Path = path
		if c.At != "" {
			f.Clock = at.by(f, m, c)
		}
		if word != "" {
			f.Because = word + " " + f.Because
		}
		if f.Crowd != nil || f.Station != nil {
			code = exit.OK
		}
		if c.JSON {
			if err := enc.Encode(f); err != nil {
				return exit.No, err
			}
			continue
		}
		show(out, f)
	}
	return code, nil
}

// read reads a recording. word says what is odd about a file that could be read in part.
func read(path string, channel int) (p sound.Piece, word string, err error) {
	s, err := os.Stat(path)
	if err != nil {
		return p, "", err
	}
	if s.Size() > maxFile {
		return p, "", fmt.Errorf("%s: larger than %d MB: cut it", path, maxFile>>20)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return p, "", err
	}
	p, err = sound.WAV(b, channel)
	if errors.Is(err, sound.ErrShort) {
		return p, fmt.Sprintf("Half a file: it ends after %.1f s.", p.Seconds()), nil
	}
	if err != nil {
		return p, "", fmt.Errorf("%s: %w", path, err)
	}
	return p, "", nil
}

// show prints what was found for a person.
func show(out io.Writer, f found) {
	if f.Path != "" {
		fmt.Fprintf(out, "%s: ", f.Path)
	}
	fmt.Fprintf(out, "%d signals of %s.\n", len(f.Signals), f.Mode)
	for _, s := range f.Signals {
		fmt.Fprintf(out, "  %+6.2f s  %6.0f Hz  %+3.0f dB\n", s.OffsetS, s.FreqHz, s.SNRdB)
	}
	if f.Crowd != nil {
		fmt.Fprintf(out, "  The crowd of %d: %+.2f s ± %.2f s\n", f.Crowd.Signals, f.Crowd.OffsetS, f.Crowd.BoundS)
	}
	if s := f.Station; s != nil {
		fmt.Fprintf(out, "  %s: its %s begins %.3f s after the sound.", s.Name, map[string]string{"second": "second", "minute": "minute", "date": "minute"}[s.Tells], s.OffsetS)
		if s.UTC.OK {
			fmt.Fprintf(out, " That is %s UTC.", s.UTC.V.Time().Format("2006-01-02 15:04"))
		}
		fmt.Fprintln(out)
	}
	if f.Clock != nil {
		f.Clock.show(out)
	}
	if f.Because != "" {
		fmt.Fprintf(out, "  %s\n", f.Because)
	}
}
