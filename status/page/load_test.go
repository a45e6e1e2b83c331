package page

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"noonmark/status"
)

// What 200 live screens may cost.
const (
	screens   = 200
	coreShare = 0.10
	memoryMB  = 40
)

// TestManyScreens holds the cost of many live screens to its limits, for some
// seconds; NOONMARK_LOAD=60s makes it a minute. The readers run in a process of
// their own, so that what is measured is the page.
func TestManyScreens(t *testing.T) {
	if url := os.Getenv("NOONMARK_LOAD_READ"); url != "" {
		readScreens(t, url)
		return
	}
	if testing.Short() || os.Getenv("NOONMARK_BROWSER") != "on" {
		t.Skip("a load takes its time: NOONMARK_BROWSER=on runs it, as .ci/run does")
	}
	length := 8 * time.Second
	if s := os.Getenv("NOONMARK_LOAD"); s != "" {
		var err error
		if length, err = time.ParseDuration(s); err != nil {
			t.Fatal(err)
		}
	}
	f := newFake(t, nil, restless)
	readers := startReaders(t, f.server.URL)
	waitFor(t, patience, func() bool { f.mu.Lock(); defer f.mu.Unlock(); return f.streams == screens })
	time.Sleep(2 * time.Second) // the first, whole, events are through
	before, begin := cpu(t), time.Now()
	time.Sleep(length)
	share := (cpu(t) - before).Seconds() / time.Since(begin).Seconds()
	mb := residentMB(t)
	t.Logf("%d screens for %s: %.1f %% of a core, %.1f MB", screens, length, 100*share, mb)
	if share > coreShare {
		t.Errorf("%.1f %% of a core, at most %.0f %%", 100*share, 100*coreShare)
	}
	if mb > memoryMB {
		t.Errorf("%.1f MB, at most %d MB", mb, memoryMB)
	}
	if got := readers(); got < screens*int(length/time.Second)*8/10 {
		t.Errorf("the screens read %d events in %s", got, length)
	}
}

// restless changes every number that changes each second in a real night.
func restless(s *status.Snapshot) {
	x := math.Mod(s.Written.BoottimeS, 7) / 100
	s.Clock.ErrorS.V += x
	s.Clock.RatePPM.V += x
	s.Clock.Because = fmt.Sprintf("By the receiver the clock is %.3f s slow, give or take 0.081 s.", -s.Clock.ErrorS.V)
	for i := range s.Modes {
		s.Modes[i].MarginS.V -= x
		s.Modes[i].GoodForS.V -= 100 * x
	}
	for i := range s.References {
		s.References[i].ErrorS.V += x
	}
}

// startReaders starts the reading process; what it returns ends it and gives the
// number of events read.
func startReaders(t *testing.T, url string) (end func() int) {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, "-test.run=^TestManyScreens$", "-test.v")
	cmd.Env = append(os.Environ(), "NOONMARK_LOAD_READ="+url)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	return func() int {
		in.Close()
		cmd.Wait()
		_, rest, _ := strings.Cut(out.String(), "events read: ")
		n, err := strconv.Atoi(strings.Fields(rest + " x")[0])
		if err != nil {
			t.Fatalf("the readers said:\n%s", out.String())
		}
		return n
	}
}

// readScreens is the reading process: it reads until its input ends.
func readScreens(t *testing.T, url string) {
	ctx, cancel := context.WithCancel(context.Background())
	client := &http.Client{Transport: &http.Transport{}}
	var events atomic.Int64
	var all sync.WaitGroup
	for range screens {
		all.Go(func() {
			r, err := http.NewRequestWithContext(ctx, "GET", url+"/live?mode=FT8", nil)
			if err != nil {
				t.Error(err)
				return
			}
			answer, err := client.Do(r)
			if err != nil {
				t.Error(err)
				return
			}
			defer answer.Body.Close()
			for lines := bufio.NewReader(answer.Body); ; {
				line, err := lines.ReadSlice('\n')
				if err != nil && !errors.Is(err, bufio.ErrBufferFull) {
					return
				}
				if strings.HasPrefix(string(line), "data:") {
					events.Add(1)
				}
			}
		})
	}
	io.Copy(io.Discard, os.Stdin)
	cancel()
	all.Wait()
	fmt.Printf("events read: %d \n", events.Load())
}

// cpu is the processor time this process has used, summed over its threads as the
// scheduler counts it: getrusage samples by ticks, and short bursts escape it.
func cpu(t *testing.T) time.Duration {
	t.Helper()
	threads, err := filepath.Glob("/proc/self/task/*/schedstat")
	if err != nil || len(threads) == 0 {
		t.Skip("the scheduler does not count here")
	}
	var sum time.Duration
	for _, name := range threads {
		b, err := os.ReadFile(name)
		if err != nil {
			continue // the thread has ended
		}
		ns, err := strconv.ParseInt(strings.Fields(string(b))[0], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		sum += time.Duration(ns)
	}
	return sum
}

// residentMB is what this process holds in memory, its own text included.
func residentMB(t *testing.T) float64 {
	t.Helper()
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Skip("no /proc here")
	}
	_, rest, _ := strings.Cut(string(b), "VmRSS:")
	kb, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
	if err != nil {
		t.Fatal(err)
	}
	return kb * 1024 / 1e6
}

func waitFor(t *testing.T, limit time.Duration, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(limit); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("it did not come to that")
		}
	}
}
