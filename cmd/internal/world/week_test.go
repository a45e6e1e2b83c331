package world

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"noonmark/cmd/internal/keep"
)

// Memory cards wear: a week writes at most 200 files and 1 MB of file data (our own
// figures). Counted in virtual time are the saves of the service, every 70 minutes and
// after each setting of the hardware clock, as they come to lie on a disk. It is a poor
// hardware clock, which the kernel does not write, so that more writes of ours come.
func TestWeekOnDisk(t *testing.T) {
	if os.Getenv("NOONMARK_LONG") == "" {
		t.Skip("a week takes 12 s: NOONMARK_LONG=1 plays it, as .ci/run does")
	}
	t.Parallel()
	cfg, dir := steered("rtc_cmos rtc-cmos"), t.TempDir()
	cfg.Steer.Unvouched = true
	s, _ := Named("camp")
	s.Story, s.RTC.FirstTick, s.RTC.PPM = s.Story[:1], 500*time.Millisecond, 40 // an open sky all week
	w := New(s, cfg, 1)
	files, bytes := 0, int64(0)
	for w.Elapsed() < 7*24*time.Hour {
		w.Second()
		for ; files < w.StateWrites()+w.RTCSets(); files++ {
			if err := keep.Save(dir, keep.State{Learned: w.kept.learned, Steering: w.kept.steering, Place: w.kept.place}); err != nil {
				t.Fatal(err)
			}
			i, err := os.Stat(filepath.Join(dir, "learned.json"))
			if err != nil {
				t.Fatal(err)
			}
			bytes += i.Size() // the generation before is a link
		}
	}
	t.Logf("%d files, %d bytes in a week; the hardware clock was set %d times", files, bytes, w.RTCSets())
	if files < 7*24*60/70 || w.RTCSets() == 0 || files > 200 || bytes > 1e6 {
		t.Errorf("%d files, %d bytes, %d times set", files, bytes, w.RTCSets())
	}
}

// seeds is how many nights of each story are played: three where the long worlds are asked
// for, as .ci/run does.
func seeds() uint64 {
	if os.Getenv("NOONMARK_LONG") == "" {
		return 1
	}
	return 3
}
