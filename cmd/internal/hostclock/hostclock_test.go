package hostclock

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"

	"pgregory.net/rapid"
)

// pair builds a Pair at a local instant with the system clock off by offset.
func pair(local int64, offset, width, suspended time.Duration) Pair {
	return Pair{
		Local: timescale.Local(local), System: timescale.UTC(local + int64(offset)), Width: width,
		SuspendOffset: suspended,
	}
}

func TestToLocal(t *testing.T) {
	const (
		s    = int64(time.Second)
		base = 1_900_000_000 * time.Second // UTC − local, as on a real machine
		w    = 200 * time.Nanosecond
	)
	before := pair(100*s, base, w, 0)
	tests := []struct {
		name  string
		stamp timescale.UTC
		after Pair
		want  timescale.Local
		err   error
	}{
		{"step forward inside", timescale.UTC(100*s + int64(base)), pair(101*s, base+2*time.Second, w, 0), 0, ErrStepped},
		{"step back inside", timescale.UTC(100*s + int64(base)), pair(101*s, base-2*time.Second, w, 0), 0, ErrStepped},
		{"step of 2 ms in 1 s", timescale.UTC(100*s + int64(base)), pair(101*s, base+2*time.Millisecond, w, 0), 0, ErrStepped},
		{"step of 50 µs in 1 ms", timescale.UTC(100*s + int64(base)), pair(100*s+1e6, base+50*time.Microsecond, w, 0), 0, ErrStepped},
		{"suspend", timescale.UTC(100*s + int64(base)), pair(101*s, base, w, time.Minute), 0, ErrSuspended},
		{"stamp before", timescale.UTC(99*s + int64(base)), pair(101*s, base, w, 0), 0, ErrOutside},
		{"stamp after", timescale.UTC(102*s + int64(base)), pair(101*s, base, w, 0), 0, ErrOutside},
		{"pairs swapped", timescale.UTC(100*s + int64(base)), pair(99*s, base, w, 0), 0, ErrOutside},
		{"no slew", timescale.UTC(100*s + 25e7 + int64(base)), pair(101*s, base, w, 0), timescale.Local(100*s + 25e7), nil},
		{"at the start", before.System, pair(101*s, base, w, 0), before.Local, nil},
		{"pairs equal", before.System, before, before.Local, nil},
		// 500 ppm for 1 s: half-way the clock has gained 250 µs.
		{"slew 500 ppm", timescale.UTC(100*s + 5e8 + int64(base) + 250_000), pair(101*s, base+500*time.Microsecond, w, 0),
			timescale.Local(100*s + 5e8), nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, bound, err := ToLocal(tt.stamp, before, tt.after)
			if !errors.Is(err, tt.err) || (err == nil) != (tt.err == nil) {
				t.Fatalf("error %v, want %v", err, tt.err)
			}
			if d := got.Sub(tt.want); d > 2 || d < -2 {
				t.Errorf("got %d, want %d (off by %v)", got, tt.want, d)
			}
			if err != nil && (bound != 0 || got != 0) {
				t.Errorf("%v ± %v besides an error", got, bound)
			}
			if err == nil && (bound < w/2 || bound > time.Millisecond) {
				t.Errorf("bound %v", bound)
			}
		})
	}
}

// The law: whatever the kernel did to the clock between the pairs, a stamp
// that is converted at all lies within the bound of the true instant.
func TestToLocalHoldsItsBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		start := rapid.Int64Range(0, 1e15).Draw(t, "start")
		span := rapid.Int64Range(1, 1e11).Draw(t, "span")
		event := rapid.Int64Range(0, span).Draw(t, "event")
		stepAt := rapid.Int64Range(0, span).Draw(t, "stepAt")
		step := rapid.Int64Range(-1e6, 1e6).Draw(t, "step")
		if rapid.Bool().Draw(t, "smallStep") {
			step /= 1000
		}
		ppm := rapid.Float64Range(-600, 600).Draw(t, "ppm")
		system := func(l int64) timescale.UTC {
			v := 1_900_000_000_000_000_000 + start + l + int64(math.Round(float64(l)*ppm/1e6))
			if l >= stepAt {
				v += step
			}
			return timescale.UTC(v)
		}
		before := Pair{Local: timescale.Local(start), System: system(0), Width: 100}
		after := Pair{Local: timescale.Local(start + span), System: system(span), Width: 100}
		got, bound, err := ToLocal(system(event), before, after)
		if err != nil {
			return
		}
		// A step that cancels a slew leaves no trace in the pairs: it can hide
		// up to what the slew made. That much the caller cannot be told.
		hidden := time.Duration(math.Abs(ppm)*float64(span)/1e6) + 2
		if d := got.Sub(timescale.Local(start + event)); d > bound+hidden || d < -bound-hidden {
			t.Fatalf("off by %v, bound %v", d, bound)
		}
	})
}

// A case the law once caught: a step back of 338 ns in a span of 339 ns.
func TestToLocalAcrossAHiddenStep(t *testing.T) {
	before, after := pair(0, 1e18, 100, 0), pair(339, 1e18-338, 100, 0)
	at, bound, err := ToLocal(before.System.Add(2), before, after)
	if d := at.Sub(2); err != nil || d > bound || d < -bound {
		t.Errorf("off by %v, bound %v, %v", d, bound, err)
	}
}

func TestSampleOfThisMachine(t *testing.T) {
	a := Sample()
	wall := time.Now()
	b := Sample()
	if !(a.Local < b.Local) {
		t.Errorf("the local timescale did not move on: %d, %d", a.Local, b.Local)
	}
	if a.Width <= 0 || a.Width > 10*time.Millisecond {
		t.Errorf("width %v", a.Width)
	}
	if a.Boottime <= 0 || a.SuspendOffset < -time.Second || a.SuspendOffset > a.Boottime+time.Second {
		t.Errorf("boottime %v, suspended %v", a.Boottime, a.SuspendOffset)
	}
	// Checked against Go's own reading of CLOCK_REALTIME.
	if _, err := b.StepSince(a); err == nil {
		if u := timescale.UTCOf(wall); u < a.System-1000 || u > b.System+1000 {
			t.Errorf("time.Now says %d, not between %d and %d", u, a.System, b.System)
		}
		at, bound, err := ToLocal(timescale.UTCOf(wall), a, b)
		if err != nil || at < a.Local-1000 || at > b.Local+1000 {
			t.Errorf("ToLocal: %d ± %v, %v", at, bound, err)
		}
	}
	// Checked against Go's monotonic clock: 20 ms are 20 ms within 5 %. A busy machine
	// may hold us up between two readings, but not each time.
	for try := 0; ; try++ {
		m, l := time.Now(), Now()
		time.Sleep(20 * time.Millisecond)
		dm, dl := time.Since(m), Now().Sub(l)
		if r := float64(dl) / float64(dm); r > 0.95 && r < 1.05 {
			break
		}
		if try == 20 {
			t.Fatalf("%v of the local timescale in %v", dl, dm)
		}
	}
}

// A reading that is held up between two clocks is no suspend.
func TestHeldUpReadingIsNoSuspend(t *testing.T) {
	const slept = 3 * time.Second
	for heldUp := range 3 * (tries - 1) { // before which single reading of a clock
		now, n := time.Duration(0), 0
		_, got := suspended(func(clock uintptr) int64 {
			now += 200 * time.Nanosecond
			if n == heldUp || n == heldUp+4 {
				now += 247 * time.Millisecond // the worst of 6 million readings
			}
			n++
			if clock == clockBoot {
				return int64(now + slept)
			}
			return int64(now)
		})
		if d := got - slept; d > time.Microsecond || d < -time.Microsecond {
			t.Errorf("held up before reading %d: %v asleep, want %v", heldUp, got, slept)
		}
	}
}

func TestReadOldAgreesWithRead(t *testing.T) {
	for _, c := range []uintptr{clockReal, clockMono, clockRaw, clockBoot} {
		a, b, c2 := read(c), readOld(c), read(c)
		if b < a || b > c2 {
			t.Errorf("clock %d: %d not between %d and %d", c, b, a, c2)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	if n := testing.AllocsPerRun(100, func() { Sample(); Now() }); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func TestBootID(t *testing.T) {
	if got := bootID(filepath.Join(t.TempDir(), "absent")); got != "" {
		t.Errorf("absent file gives %q", got)
	}
	if _, err := os.Stat("/proc/sys/kernel/random/boot_id"); err != nil {
		t.Skip("this kernel names no boot: ", err)
	}
	// RFC 4122 form, see proc(5).
	if got := BootID(); !regexp.MustCompile(`^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}$`).MatchString(got) {
		t.Errorf("boot id %q", got)
	}
}

func BenchmarkSample(b *testing.B) {
	for b.Loop() {
		Sample()
	}
}
