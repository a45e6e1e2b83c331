package service

import (
	"context"
	"errors"
	"strings"
	"syscall"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/hostclock"
	"noonmark/gnss/pps"
)

// fakePulse hands out what it is given, one fetch at a time.
type fakePulse struct {
	fetches []func() ([]pps.Stamp, error)
	closed  bool
	only    pps.Edge
}

func (f *fakePulse) Fetch(time.Duration) ([]pps.Stamp, error) {
	if len(f.fetches) == 0 {
		return nil, syscall.ENODEV
	}
	next := f.fetches[0]
	f.fetches = f.fetches[1:]
	return next()
}
func (f *fakePulse) Captures(e pps.Edge) bool { return f.only == 0 || e == f.only }
func (f *fakePulse) Close() error             { f.closed = true; return nil }

func TestPulseIsConverted(t *testing.T) {
	local, offset := timescale.Local(5e9), timescale.UTC(1_925_000_000e9)
	step := timescale.UTC(0)
	sample := func() hostclock.Pair {
		local = local.Add(500 * time.Millisecond)
		return hostclock.Pair{Local: local, System: timescale.UTC(local) + offset + step, Width: 400}
	}
	edge := func(back time.Duration) func() ([]pps.Stamp, error) {
		return func() ([]pps.Stamp, error) { // it comes that long before the next sample
			return []pps.Stamp{{Edge: pps.Clear, System: timescale.UTC(local) + 5e8 - timescale.UTC(back) + offset}}, nil
		}
	}
	stepped := func() ([]pps.Stamp, error) { s, err := edge(1000)(); step = 7e8; return s, err }
	src := &fakePulse{fetches: []func() ([]pps.Stamp, error){edge(100 * time.Microsecond), stepped,
		func() ([]pps.Stamp, error) { return nil, nil }}}
	type got struct {
		at    timescale.Local
		e     clockcheck.Edge
		sigma time.Duration
	}
	var all []got
	w := &pulseWatch{setting: "/dev/pps9", sample: sample, open: func(string) (pulseSource, error) { return src, nil },
		edges: func(at timescale.Local, e clockcheck.Edge, sigma time.Duration) { all = append(all, got{at, e, sigma}) }}
	err := w.read(context.Background(), "/dev/pps9", nil)
	if !errors.Is(err, syscall.ENODEV) || !src.closed {
		t.Errorf("%v, closed %v", err, src.closed)
	}
	if len(all) != 1 || all[0] != (got{6e9 - 100_000, clockcheck.EdgeClear, 200}) {
		t.Errorf("%+v", all)
	}
}

func TestPulseReasons(t *testing.T) {
	for _, row := range []struct {
		setting string
		err     error
		edge    clockcheck.Edge
		only    pps.Edge
		say     string // in the reason; "" = nothing is said
	}{
		{"auto", nil, 0, 0, ""}, // no receiver yet
		{"/dev/pps9", pps.ErrAbsent, 0, 0, "overlay"},
		{"/dev/pps9", pps.ErrDenied, 0, 0, "give this user the right to /dev/pps9"},
		{"/dev/pps9", pps.ErrBusy, 0, 0, "stop it"},
		{"/dev/pps9", pps.ErrNoWait, 0, 0, "no pulse device"},
		{"/dev/pps9", nil, clockcheck.EdgeClear, pps.Assert, "does not capture that edge"},
		{"/dev/pps9", nil, 0, 0, "no such device"}, // unplugged while being read
	} {
		ctx, stop := context.WithCancel(context.Background())
		said := []string{}
		w := &pulseWatch{setting: row.setting, edge: row.edge, sample: hostclock.Sample,
			open:    func(string) (pulseSource, error) { return &fakePulse{only: row.only}, row.err },
			missing: func(reason string) { said = append(said, reason); stop() }}
		w.run(ctx)
		if len(said) != 1 || !strings.Contains(said[0], row.say) || row.say == "" && said[0] != "" {
			t.Errorf("%s, %v: said %q", row.setting, row.err, said)
		}
	}
}

func TestReceiverOn(t *testing.T) {
	(*pulseWatch)(nil).receiverOn("/dev/ttyS0")
	w := &pulseWatch{}
	for path, want := range map[string]string{"tcp://127.0.0.1:10110": "", "/dev/null": "/dev/null"} {
		if w.receiverOn(path); *w.tty.Load() != want {
			t.Errorf("%s: %q", path, *w.tty.Load())
		}
	}
}
