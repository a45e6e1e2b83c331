package hostclock

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// The clock of this machine is never set, so that a step is played by the two
// system calls' answers.
func TestWatchLoop(t *testing.T) {
	boom := errors.New("boom")
	tests := []struct {
		name  string
		arm   []error
		wait  []error
		steps int
		err   error
	}{
		{"cannot arm", []error{boom}, nil, 0, boom},
		{"read fails", []error{nil}, []error{boom}, 0, boom},
		{"a step is told", []error{nil, nil}, []error{os.NewSyscallError("read", unix.ECANCELED), boom}, 1, boom},
		{"a step while arming is told", []error{unix.ECANCELED, nil}, []error{boom}, 1, boom},
		{"expiry is no step", []error{nil, nil}, []error{nil, boom}, 0, boom},
		{"two steps", []error{nil, nil, nil}, []error{syscall.ECANCELED, &os.PathError{Err: unix.ECANCELED}, boom}, 2, boom},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			next := func(list *[]error) func() error {
				return func() error {
					if len(*list) == 0 {
						t.Fatal("one call too many")
					}
					e := (*list)[0]
					*list = (*list)[1:]
					return e
				}
			}
			steps := 0
			err := watch(t.Context(), next(&tt.arm), next(&tt.wait), func() { steps++ })
			if !errors.Is(err, tt.err) || steps != tt.steps {
				t.Errorf("%v and %d steps, want %v and %d", err, steps, tt.err, tt.steps)
			}
			if len(tt.arm)+len(tt.wait) != 0 {
				t.Error("calls left over")
			}
		})
	}
}

func TestWatchStepsOfThisMachine(t *testing.T) {
	before := Sample()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	calls := 0
	go func() { done <- WatchSteps(ctx, func() { calls++ }) }()
	var info string
	for range 2000 {
		if info = timerInfo(); info != "" {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	// The kernel's own word that the timer is the one meant: flags are
	// TFD_TIMER_ABSTIME (1) | TFD_TIMER_CANCEL_ON_SET (2).
	if info == "" {
		t.Error("no armed timer among the descriptors of this process")
	}
	cancel()
	select {
	case err := <-done:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(time.Minute):
		t.Fatal("WatchSteps did not end with its context")
	}
	if _, err := Sample().StepSince(before); err == nil && calls != 0 {
		t.Errorf("%d steps told, none made", calls)
	}
}

// timerInfo returns what the kernel says about this process's cancellable
// timer, or "".
func timerInfo() string {
	names, _ := filepath.Glob("/proc/self/fdinfo/*")
	for _, n := range names {
		b, _ := os.ReadFile(n)
		s := string(b)
		if strings.Contains(s, "clockid: 0\n") && strings.Contains(s, "settime flags: 03") &&
			!strings.Contains(s, "it_value: (0, 0)") {
			return s
		}
	}
	return ""
}

func TestStatusOf(t *testing.T) {
	tests := []struct {
		name string
		in   unix.Timex
		want Status
	}{
		{"at boot", unix.Timex{Status: unix.STA_UNSYNC, Maxerror: 16_000_000, Esterror: 16_000_000, Tick: 10000},
			Status{Unsync: true, MaxError: 16 * time.Second, EstError: 16 * time.Second}},
		// 65536 = 1 ppm, range ±32 768 000 = ±500 ppm (adjtimex(2)).
		{"slowest", unix.Timex{Freq: -32_768_000, Tick: 9000}, Status{FreqPPM: -500, TickPPM: -100_000}},
		{"disciplined", unix.Timex{Freq: 65536, Tick: 10000, Maxerror: 1500, Esterror: 20, Tai: 37, Status: unix.STA_PLL | unix.STA_NANO},
			Status{FreqPPM: 1, MaxError: 1500 * time.Microsecond, EstError: 20 * time.Microsecond, TAI: 37}},
	}
	for _, tt := range tests {
		if got := statusOf(&tt.in); got != tt.want {
			t.Errorf("%s: got %+v, want %+v", tt.name, got, tt.want)
		}
	}
}

func TestKernelStatusOfThisMachine(t *testing.T) {
	s, err := KernelStatus()
	if err != nil {
		t.Fatal(err)
	}
	if s.FreqPPM < -500 || s.FreqPPM > 500 || s.MaxError < 0 || s.TickPPM < -100_000 || s.TickPPM > 100_000 {
		t.Errorf("out of the kernel's own range: %+v", s)
	}
}
