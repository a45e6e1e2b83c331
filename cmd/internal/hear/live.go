package hear

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"noonmark/clockcheck/air/band"
	"noonmark/clockcheck/air/crowd"
	"noonmark/clockcheck/air/sound"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
)

const (
	blockLasts = 100 * time.Millisecond
	roomBlocks = 300             // that may wait while a period is examined: 30 s, for a small board takes long
	quietLimit = 3 * time.Second // a device that sends nothing for so long is gone
	// calmEvery is after how many periods it looks again while the service trusts what it heard: an odd number, for
	// stations send in every second period, and an even one would hear the same half of the band all night.
	calmEvery = 9
	spare     = time.Second // beyond a period and a signal
)

// block is sound as it arrived.
type block struct {
	samples []float32
	at      timescale.Local
	err     error
}

// blocks reads raw samples until the end, in a goroutine of its own, so that each block is
// stamped as it comes, whatever is being examined.
func (h *hearer) blocks(ctx context.Context, c cli.Hear, in io.Reader) <-chan block {
	out := make(chan block, roomBlocks)
	size := 2 * c.Channels * int(float64(c.Rate)*blockLasts.Seconds())
	go func() {
		defer close(out)
		for {
			b := make([]byte, size)
			_, err := io.ReadFull(in, b)
			got := block{at: h.now(), err: err}
			if err == nil {
				got.samples, got.err = sound.Raw(b, c.Channels, c.Channel-1)
			}
			select {
			case out <- got:
			case <-ctx.Done():
				return
			}
			if got.err != nil {
				return
			}
		}
	}()
	return out
}

// ear holds the sound of the last while.
type ear struct {
	h       *hearer
	c       cli.Hear
	m       band.Mode
	tie     sound.Tie
	down    *sound.Down
	samples []float32  // of sound.Rate; the newest is the last that down made
	clip    sound.Clip // since it was last examined
	since   int64      // the tie's count when it was last examined
	skip    int        // periods not to look at
	heard   bool
	looked  int64 // the tie's count when a time signal was last looked for
	dated   int64 // UTC − local as a time signal's code last had it, ns
}

// window is how much sound holds each signal of a period whole, wherever it begins.
func (e *ear) window() int {
	length := time.Duration(float64(e.m.Length*e.m.Symbol) / sound.Rate * 1e9)
	return int((e.m.Period + length + spare).Seconds() * sound.Rate)
}

// newest is the sound of the last n samples of sound.Rate, and the instant of the first.
func (e *ear) newest(n int) (p sound.Piece, first timescale.Local, bound time.Duration, ok bool) {
	first, bound, ok = e.tie.At((e.down.Made() - int64(n)) * int64(e.c.Rate) / sound.Rate)
	return sound.Piece{Rate: sound.Rate, Samples: e.samples[len(e.samples)-n:]}, first, bound, ok
}

// live listens until the sound ends or ctx does.
func (h *hearer) live(ctx context.Context, c cli.Hear, m band.Mode, in io.Reader) (int, error) {
	e := &ear{h: h, c: c, m: m, tie: sound.Tie{Rate: c.Rate}, down: sound.NewDown(c.Rate)}
	all := h.blocks(ctx, c, in)
	quiet := time.NewTimer(quietLimit)
	defer quiet.Stop()
	for {
		select {
		case <-ctx.Done():
			return e.code(), nil
		case <-quiet.C:
			return exit.No, fmt.Errorf("hear: no sound has come for %v: the device is gone, or the wrong one", quietLimit)
		case b, ok := <-all:
			if !ok {
				return e.code(), nil
			}
			if errors.Is(b.err, io.EOF) || errors.Is(b.err, io.ErrUnexpectedEOF) {
				return e.code(), nil
			}
			if b.err != nil {
				return exit.No, fmt.Errorf("hear: %w", b.err)
			}
			if err := e.take(b); err != nil {
				return exit.No, err
			}
			quiet.Reset(quietLimit) // examining takes a while itself
			if c.Once && e.heard {
				return exit.OK, nil
			}
		}
	}
}

func (e *ear) code() int {
	if e.heard {
		return exit.OK
	}
	return exit.No
}

// take adds a block, and examines a period when one is full.
func (e *ear) take(b block) error {
	if e.tie.Block(len(b.samples), b.at) {
		e.samples, e.down, e.since, e.looked = e.samples[:0], sound.NewDown(e.c.Rate), 0, 0
		if hz := e.tie.Wrong(); hz != 0 {
			e.word(fmt.Sprintf("The sampling rate is wrong: %d samples come in a second, not %d. Say so: --rate %d", hz, e.c.Rate, hz))
			return nil
		}
		e.word("Samples were lost: listening begins again.")
		return nil
	}
	e.clip.Take(b.samples)
	e.samples = e.down.Add(e.samples, b.samples)
	if w := max(e.window(), stationSpan*sound.Rate); len(e.samples) > w+w/4 {
		e.samples = append(e.samples[:0], e.samples[len(e.samples)-w:]...)
	}
	if minute := int64(60 * e.c.Rate); e.tie.Samples()-e.looked >= minute && len(e.samples) >= stationLeast*sound.Rate {
		e.looked = e.tie.Samples()
		if err := e.stationNow(); err != nil || e.c.Station != "" {
			return err
		}
	}
	period := int64(e.m.Period.Seconds() * float64(e.c.Rate))
	if e.c.Station != "" || len(e.samples) < e.window() || e.tie.Samples()-e.since < period {
		return nil
	}
	e.since = e.tie.Samples()
	word := e.clip.Fault()
	e.clip = sound.Clip{}
	if e.skip--; e.skip >= 0 {
		return nil
	}
	if word != "" {
		e.word(word)
		return nil
	}
	return e.examine()
}

func (e *ear) word(text string) {
	if !e.c.JSON {
		say(e.h.out, "%s", text)
	}
}

// examine looks for a crowd in the newest window and delivers it.
func (e *ear) examine() error {
	piece, first, tied, ok := e.newest(e.window())
	if !ok {
		return nil
	}
	now := e.h.sample()
	begin := now.System.Add(first.Sub(now.Local)) // the first sample, by the system clock
	f := examineSpan(piece, e.m, span{into: math.Mod(float64(begin)/1e9, e.m.Period.Seconds()), anywhere: true, ownHz: e.c.OwnHz, tied: true})
	if f.Crowd == nil {
		e.word(f.Because)
		return nil
	}
	w := claim{source: "crowd", error: f.crowd.OffsetS - crowd.Delay, bound: f.bound + tied.Seconds(), common: crowd.Floor + tied.Seconds() + e.m.Doubt.Seconds(), modulo: e.m.Period, signals: f.crowd.Signals, at: now}
	t, err := e.h.delivered(e.c, w)
	if err != nil {
		return err
	}
	e.heard = true
	if e.skip = 0; t.Service != nil && t.Service.Says != nil && t.Service.Says.Trust == "trusted" {
		e.skip = calmEvery - 1
		for _, v := range t.Service.Modes {
			if v != "within" {
				e.skip = 0
			}
		}
	}
	return nil
}
