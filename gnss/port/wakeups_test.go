package port

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
)

// TestMain turns the test binary into a reader of one port, so that its
// wake-ups can be counted apart from those of the feeder.
func TestMain(m *testing.M) {
	if path := os.Getenv("PORT_TEST_READER"); path != "" {
		ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
		defer cancel()
		n, reads := 0, 0
		if err := Run(ctx, Config{Device: path}, raw, func(ev Event) {
			if ev.Kind == Data {
				n, reads = n+len(ev.Data), reads+1
			}
			if ev.Kind == Lost {
				cancel()
			}
		}); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		fmt.Printf("%d bytes in %d reads\n", n, reads)
		return
	}
	goleak.VerifyTestMain(m)
}

// TestWakeUps feeds a pty at 9600 baud, byte by byte, half of each second, and
// counts how often the kernel woke the reading process (context switches of
// all its threads) and what processor time it took. The whole service may use
// 10 wake-ups a second and 0.3 %.
func TestWakeUps(t *testing.T) {
	if testing.Short() {
		t.Skip("takes 9 s")
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	master, slave := newPTY(t)
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), "PORT_TEST_READER="+slave)
	out := &strings.Builder{}
	cmd.Stdout, cmd.Stderr = out, out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(300 * time.Millisecond)
	burst := strings.Repeat(sentence(rmcBody), 7) // 490 bytes: 0.51 s
	second := func() {
		begin := time.Now()
		for i := range burst {
			write(t, master, burst[i:i+1])
			time.Sleep(time.Until(begin.Add(time.Duration(i) * time.Second / 960)))
		}
		time.Sleep(time.Until(begin.Add(time.Second)))
	}
	for range 3 {
		second()
	}
	const seconds = 5
	wakes, ticks := usage(t, cmd.Process.Pid)
	for range seconds {
		second()
	}
	w, k := usage(t, cmd.Process.Pid)
	master.Close()
	if err := cmd.Wait(); err != nil {
		t.Errorf("reader: %v", err)
	}
	t.Logf("%.1f wake-ups a second, %.2f %% of a processor (ticks of 1 %%·s); %s",
		float64(w-wakes)/seconds, float64(k-ticks)/seconds, strings.TrimSpace(out.String()))
	if !strings.HasPrefix(out.String(), fmt.Sprint(8*len(burst))+" bytes") {
		t.Errorf("read %q, want %d bytes", out, 8*len(burst))
	}
	if w-wakes > 10*seconds {
		t.Errorf("%d wake-ups in %d s", w-wakes, seconds)
	}
}

// usage sums the context switches of a process's threads, and its processor
// time in ticks of 10 ms (proc(5)).
func usage(t *testing.T, pid int) (wakes, ticks int) {
	t.Helper()
	files, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/status", pid))
	if err != nil || len(files) == 0 {
		t.Skipf("no /proc here: %v", err)
	}
	for _, f := range files {
		b, _ := os.ReadFile(f)
		for _, line := range strings.Split(string(b), "\n") {
			if name, v, ok := strings.Cut(line, ":"); ok && name == "voluntary_ctxt_switches" {
				n, _ := strconv.Atoi(strings.TrimSpace(v))
				wakes += n
			}
		}
	}
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	f := strings.Fields(string(b[strings.LastIndexByte(string(b), ')'):]))
	u, _ := strconv.Atoi(f[12])
	s, _ := strconv.Atoi(f[11])
	return wakes, u + s
}
