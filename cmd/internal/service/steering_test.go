package service

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/netref"
	"noonmark/clockcheck/steer"
	"noonmark/cmd/internal/build"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/settings"
	"noonmark/cmd/internal/station"
	"noonmark/rtc"
	"noonmark/status"
)

// recorder stands for the kernel: it notes what is wanted and does nothing.
type recorder struct {
	state  steer.Kernel
	wanted []steer.Actions
	refuse error
}

func (r *recorder) Read() (steer.Kernel, error) { return r.state, nil }

func (r *recorder) Apply(a steer.Actions) error {
	r.wanted = append(r.wanted, a)
	return r.refuse
}

// bench is a service whose kernel is r, told by servers that its clock is off by off.
func bench(t *testing.T, r *recorder, off time.Duration) (*service, *strings.Builder) {
	t.Helper()
	log := &strings.Builder{}
	s := &service{log: slog.New(slog.NewTextHandler(log, nil)), events: make(chan func(), 64),
		rtcOrders: make(chan steer.RTCOrder), said: map[string]string{}}
	if r != nil {
		s.clock = r
	}
	var err error
	if s.publish, err = status.NewPublisher(t.TempDir(), true); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.publish.Close() })
	set := config.Default()
	set.Clock.Steer = true
	modes := settings.ShownModes()
	s.station = station.New(station.Config{Judge: clockcheck.Config{Floor: build.Date(), Modes: modes}, LocatorLength: 10,
		Steering: status.SteeringObserving, Steer: s.steering(set, modes, rtc.Info{Chip: "rtc-x 1-0068"})}, clockcheck.Learned{})
	p := hostclock.Sample()
	for _, name := range []string{"192.0.2.1", "192.0.2.2", "192.0.2.3"} {
		s.station.Network(netref.Reading{Server: name, At: p.Local, UTC: p.System.Add(-off), Bound: 5 * time.Millisecond})
	}
	return s, log
}

// What the judge finds reaches the kernel, and the status says so; the program's own
// doing stands in its log.
func TestServiceSteersTheKernel(t *testing.T) {
	r := &recorder{state: steer.Kernel{Bits: steer.BitUnsync, MaxError: 16 * time.Second}}
	s, log := bench(t, r, 2*time.Second)
	s.tick()
	if len(r.wanted) == 0 || math.Abs(r.wanted[0].Step.Seconds()+2) > 0.01 || !r.wanted[0].SetStatus {
		t.Fatalf("%+v", r.wanted)
	}
	if !strings.Contains(log.String(), "msg=stepped") || !strings.Contains(log.String(), "local_s=") {
		t.Errorf("the log does not tell the step:\n%s", log)
	}
	snap, _, _ := s.judge()
	if snap.Clock.Steering == status.SteeringObserving || snap.Clock.SteeringBecause == "" {
		t.Errorf("%+v", snap.Clock)
	}
}

// Without the right to set the clock everything else goes on, and it is said.
func TestServiceWithoutTheRight(t *testing.T) {
	r := &recorder{state: steer.Kernel{Bits: steer.BitUnsync}, refuse: fmt.Errorf("steer: step the clock: %w", steer.ErrNotPermitted)}
	s, _ := bench(t, r, 2*time.Second)
	for range 3 {
		s.tick()
	}
	if len(r.wanted) != 1 {
		t.Errorf("asked %d times", len(r.wanted))
	}
	snap, _, _ := s.judge()
	if snap.Clock.Steering != string(steer.Forbidden) || !strings.Contains(snap.Clock.SteeringBecause, "CAP_SYS_TIME") {
		t.Errorf("%+v", snap.Clock)
	}
	if !snap.Clock.ErrorS.OK || math.Abs(snap.Clock.ErrorS.V-2) > 0.1 {
		t.Errorf("the clock is not judged: %+v", snap.Clock)
	}
}

// An order for the hardware clock goes to whoever owns it, and its answer comes back.
func TestServiceOrdersTheHardwareClock(t *testing.T) {
	r := &recorder{}
	s, _ := bench(t, r, 0)
	got := make(chan steer.RTCOrder, 1)
	ready := make(chan bool)
	go func() { close(ready); got <- <-s.rtcOrders }()
	<-ready
	time.Sleep(20 * time.Millisecond)
	p := hostclock.Sample()
	s.tick()
	for range 2 { // it is ordered once the hardware clock has said its word
		s.station.RTC(rtc.Reading{Edge: p.Local, Half: time.Millisecond, Value: p.System.Add(7 * time.Second)})
	}
	before := hostclock.Now()
	s.tick()
	after := hostclock.Now()
	select {
	case o := <-got:
		if o.At.Sub(before) < 500*time.Millisecond || o.At.Sub(after) > 4*time.Second {
			t.Errorf("ordered for %v from now", o.At.Sub(before))
		}
		s.tookRTC(o.At, o.At, nil)
	case <-time.After(clitest.Patience):
		t.Fatal("no order")
	}
	snap, _, _ := s.judge()
	if n := len(snap.Events); n == 0 || snap.Events[n-1].Kind != "rtc-set" {
		t.Errorf("%+v", snap.Events)
	}
}

// The real clock is out of reach of a test program: it is watched only.
func TestServiceInATestDoesNotSteer(t *testing.T) {
	s, log := bench(t, nil, 2*time.Second)
	s.tick()
	snap, _, _ := s.judge()
	if s.clock != nil || snap.Clock.Steering != status.SteeringObserving {
		t.Fatalf("a test program steers: %+v", snap.Clock)
	}
	if !strings.Contains(log.String(), "test program") {
		t.Errorf("log:\n%s", log)
	}
}

// TestOthersHandsAreWarnings: "journalctl -p warning" shows what another hand did.
func TestOthersHandsAreWarnings(t *testing.T) {
	for kind, want := range map[string]slog.Level{"another-program": slog.LevelWarn, "clock-touched": slog.LevelWarn,
		"stepped": slog.LevelInfo, "steering-again": slog.LevelInfo} {
		if got := levelOf(kind); got != want {
			t.Errorf("%s: %v, want %v", kind, got, want)
		}
	}
}

// The program's end in order ends its correction of the clock.
func TestEndEndsTheCorrection(t *testing.T) {
	r := &recorder{state: steer.Kernel{Bits: steer.BitUnsync, MaxError: 16 * time.Second}}
	s, _ := bench(t, r, 100*time.Millisecond)
	s.tick()
	if n := len(r.wanted); n == 0 || r.wanted[n-1].Slew == 0 {
		t.Fatalf("no correction was begun: %+v", r.wanted)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if err := s.run(ctx, nil); err != nil {
		t.Fatal(err)
	}
	if a := r.wanted[len(r.wanted)-1]; !a.SetSlew || a.Slew != 0 {
		t.Errorf("the last that the kernel was told: %+v", a)
	}
}

// A status of this boot that nobody took away was left by a run that was killed: what it
// had begun is ours. One of another boot, or of a run that only watched, tells nothing.
func TestSteeredBefore(t *testing.T) {
	for _, row := range []struct {
		boot, steering string
		want           bool
	}{
		{hostclock.BootID(), string(steer.Slewing), true},
		{hostclock.BootID(), string(steer.Holding), true},
		{hostclock.BootID(), status.SteeringObserving, false},
		{hostclock.BootID(), string(steer.Another), false},
		{"another boot", string(steer.Slewing), false},
	} {
		s, _ := bench(t, &recorder{}, 0)
		if s.steeredBefore() {
			t.Error("without a status")
		}
		snap, _, _ := s.judge()
		snap.Live, snap.Written.BootID, snap.Clock.Steering = true, row.boot, row.steering
		if err := s.publish.Publish(snap); err != nil {
			t.Fatal(err)
		}
		if got := s.steeredBefore(); got != row.want {
			t.Errorf("%+v: %v", row, got)
		}
	}
}
