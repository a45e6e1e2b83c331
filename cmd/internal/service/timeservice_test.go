package service

import (
	"cmp"
	"context"
	"encoding/json"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/beevik/ntp"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/hostclock"
	"noonmark/cmd/internal/sleep"
	"noonmark/status"
	"noonmark/status/timeserver"
)

// systemTime runs a time service on the loopback whose judged time is this machine's
// system clock, published as the owner of a station would. Nobody asks it too often.
// seen, if there, is called by the serving goroutine.
func systemTime(t testing.TB, seen func()) *timeService {
	t.Helper()
	camp, err := newTimeService("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	camp.server = timeserver.New(func() *timeserver.State {
		if seen != nil {
			seen()
		}
		return camp.state.Load()
	}, timeserver.Limit{Every: 1, Burst: 1 << 30})
	publish := func() {
		p := hostclock.Sample()
		camp.noted.Note(p)
		camp.state.Store(&timeserver.State{Trusted: true, At: p.Local, UTC: p.System, Guard: time.Millisecond, Stratum: 1,
			RefID: [4]byte{'G', 'P', 'S'}, Reference: p.System})
	}
	publish()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{}, 2)
	go func() { camp.serve(ctx, 0); done <- struct{}{} }()
	go func() {
		for sleep.For(ctx, 200*time.Millisecond) == nil {
			publish()
		}
		done <- struct{}{}
	}()
	t.Cleanup(func() { stop(); <-done; <-done })
	return camp
}

func (t *timeService) address() string { return t.conns[0].LocalAddr().String() }

// The error of the stamps on the loopback, against CLOCK_REALTIME and by an
// independent client (beevik/ntp): at most 50 µs in the median of the quicker half of
// the exchanges. A client that is woken late takes half of that for an error of ours.
func TestStampsOnTheLoopback(t *testing.T) {
	addr := systemTime(t, nil).address()
	var all []*ntp.Response
	for len(all) < 301 {
		r, err := ntp.Query(addr)
		if err != nil {
			t.Fatal(err)
		}
		if err := r.Validate(); err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
		time.Sleep(time.Millisecond)
	}
	slices.SortFunc(all, func(a, b *ntp.Response) int { return cmp.Compare(a.RTT, b.RTT) })
	var off []time.Duration
	for _, r := range all[:len(all)/2] {
		off = append(off, r.ClockOffset.Abs())
	}
	slices.Sort(off)
	median, worst := off[len(off)/2], off[len(off)*99/100]
	t.Logf("error of the stamps: median %v, 99 %% below %v", median, worst)
	if median > 50*time.Microsecond {
		t.Errorf("median error %v", median)
	}
}

// The second independent client: ntplib of Debian's python3-ntplib.
func TestPythonClient(t *testing.T) {
	const python = "/usr/bin/python3" // the distribution's, which has the package
	if out, err := exec.Command(python, "-c", "import ntplib").CombinedOutput(); err != nil {
		t.Skipf("python3-ntplib is not installed: %s", out)
	}
	_, port, _ := net.SplitHostPort(systemTime(t, nil).address())
	out, err := exec.Command(python, "-c", `
import json, ntplib, sys
def ask(version):
    r = ntplib.NTPClient().request("127.0.0.1", port=int(sys.argv[1]), version=version)
    return {"Leap": r.leap, "Version": r.version, "Mode": r.mode, "Stratum": r.stratum, "RefID": ntplib.ref_id_to_text(r.ref_id, r.stratum),
            "Delay": r.root_delay, "Dispersion": r.root_dispersion, "Offset": r.offset, "Precision": r.precision}
print(json.dumps([ask(v) for v in (2, 3, 4)]))
`, port).Output()
	if err != nil {
		t.Fatal(err)
	}
	var got []struct {
		Leap, Version, Mode, Stratum, Precision int
		RefID                                   string
		Delay, Dispersion, Offset               float64
	}
	if err := json.Unmarshal(out, &got); err != nil || len(got) != 3 {
		t.Fatalf("%v: %s", err, out)
	}
	for i, r := range got {
		if r.Leap != 0 || r.Version != i+2 || r.Mode != 4 || r.Stratum != 1 || r.Precision != -20 || !strings.Contains(r.RefID, "Global Position") ||
			r.Delay != 0 || r.Dispersion < 0.001 || r.Dispersion > 0.0011 || r.Offset > 0.05 || r.Offset < -0.05 {
			t.Errorf("%+v", r)
		}
	}
}

// TestServiceServesWhatItJudges runs the program with a server that is 100 s ahead of
// the system clock as its only reference: what it serves is that time.
func TestServiceServesWhatItJudges(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the program")
	}
	t.Parallel()
	const ahead = 100 * time.Second
	upstream := upstreamServer(t, ahead)
	addr := clitest.FreeUDP(t)
	config, dir := t.TempDir()+"/noonmark.toml", t.TempDir()
	text := "[publish]\nhttp = \"\"\ntime_service = " + strconv.Quote(addr) + "\n"
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(clitest.Binary(t), "run", "--rtc", "none", "--allow-disk", "--config", config, "--run-dir", dir,
		"--state-dir", t.TempDir(), "--server", upstream)
	var log strings.Builder
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { cmd.Process.Signal(os.Interrupt); cmd.Wait() }()
	first, answered := (*ntp.Response)(nil), (*ntp.Response)(nil)
	clitest.WaitFor(t, &log, "the judged time", func() bool {
		time.Sleep(300 * time.Millisecond) // 16 at once, then one in 2 s
		r, err := ntp.QueryWithOptions(addr, ntp.QueryOptions{Timeout: time.Second})
		if err != nil || r.IsKissOfDeath() {
			return false
		}
		if first == nil {
			first = r
		}
		answered = r
		return r.Leap == ntp.LeapNoWarning
	})
	if d, exchange := answered.ClockOffset-ahead, answered.RTT/2; d.Abs() > 50*time.Millisecond+exchange {
		t.Errorf("served %v ahead of the system clock, judged %v", answered.ClockOffset, ahead)
	}
	// The upstream is at stratum 1 on 127.0.0.1: one hop more, and its address.
	if answered.Stratum != 2 || answered.ReferenceString() != "127.0.0.1" || answered.RootDispersion < time.Millisecond ||
		answered.Validate() != nil {
		t.Errorf("%+v", answered)
	}
	if first.Leap == ntp.LeapNotInSync && first.Stratum != 16 {
		t.Errorf("before anything was known: %+v", first)
	}
	clitest.WaitFor(t, &log, "the answers in the status", func() bool {
		s := clitest.Load(filepath.Join(dir, status.FileName))
		return s.TimeService != nil && s.TimeService.Answered > 0
	})
	cmd.Process.Signal(os.Interrupt)
	cmd.Wait()
	if strings.Contains(log.String(), "publish.time_service") {
		t.Errorf("it says the setting has no effect:\n%s", log.String())
	}
}

// upstreamServer is a server by the program's own code, which the tests above hold to
// independent clients; it gives the system clock plus ahead.
func upstreamServer(t *testing.T, ahead time.Duration) string {
	t.Helper()
	camp, err := newTimeService("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	state := func() *timeserver.State {
		p := hostclock.Sample()
		camp.noted.Note(p)
		return &timeserver.State{Trusted: true, At: p.Local, UTC: p.System.Add(ahead), Guard: time.Millisecond, Stratum: 1,
			RefID: [4]byte{'P', 'P', 'S'}, Reference: p.System.Add(ahead - time.Second)}
	}
	state()
	state()
	camp.server = timeserver.New(state, timeserver.Limit{})
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { camp.serve(ctx, 0); close(done) }()
	t.Cleanup(func() { stop(); <-done })
	return camp.address()
}

// A socket passed by the service manager is taken by its name, another is not
// (sd_listen_fds(3)); without one, port 123 wants a right and the remedy is said.
func TestPassedSocket(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the program")
	}
	t.Parallel()
	c, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	f, err := c.File()
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	config := t.TempDir() + "/noonmark.toml"
	if err := os.WriteFile(config, []byte("[publish]\nhttp = \"\"\ntime_service = \":123\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	// The shell sets LISTEN_PID to itself and becomes the program.
	cmd := exec.Command("/bin/sh", "-c", `LISTEN_PID=$$ LISTEN_FDS=1 LISTEN_FDNAMES=noonmark-time exec "$0" "$@"`,
		clitest.Binary(t), "run", "--rtc", "none", "--allow-disk", "--config", config, "--run-dir", t.TempDir(), "--state-dir", t.TempDir())
	cmd.ExtraFiles = []*os.File{f}
	var log strings.Builder
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { cmd.Process.Signal(os.Interrupt); cmd.Wait() }()
	clitest.WaitFor(t, &log, "an answer on the passed socket", func() bool {
		r, err := ntp.QueryWithOptions(c.LocalAddr().String(), ntp.QueryOptions{Timeout: time.Second})
		return err == nil && r.Leap == ntp.LeapNotInSync && r.Stratum == 16
	})
}

// More servers than the judge hears are not left out in silence.
func TestTooManyServersAreSaid(t *testing.T) {
	var log strings.Builder
	s := &service{log: slog.New(slog.NewTextHandler(&log, nil)), said: map[string]string{}}
	all := strings.Fields("a b c d e f g h i j")
	if got := s.fewServers(all); len(got) != clockcheck.MaxServers || !strings.Contains(log.String(), "not asked: i, j") {
		t.Errorf("%q, %s", got, log.String())
	}
	log.Reset()
	if got := s.fewServers(all[:8]); len(got) != 8 || log.Len() != 0 {
		t.Errorf("%q, %s", got, log.String())
	}
}

// The unit that passes the socket calls it what the service looks for.
func TestSocketUnitNamesTheSocket(t *testing.T) {
	unit, err := os.ReadFile("../../../packaging/systemd/noonmark-time.socket")
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{"FileDescriptorName=" + timeSocket, "ListenDatagram=0.0.0.0:123", "ListenDatagram=[::]:123", "Service=noonmark.service"} {
		if !strings.Contains(string(unit), "\n"+line+"\n") {
			t.Errorf("no line %s", line)
		}
	}
}

var _ timeserver.Clock = (*hostclock.Arrivals)(nil)

// Arrivals converts what lies after the pairs noted and before its bracket, and
// nothing across a step.
func TestArrivals(t *testing.T) {
	var n hostclock.Noted
	a := n.Arrivals()
	a.Bracket()
	if _, ok := a.ToLocal(timescale.UTCOf(time.Now())); ok {
		t.Error("converted without a pair")
	}
	p := hostclock.Sample()
	n.Note(p)
	stamp := timescale.UTCOf(time.Now())
	n.Note(hostclock.Sample()) // the owner's tick comes in between
	now := a.Bracket()
	l, ok := a.ToLocal(stamp)
	if !ok || l < p.Local || l > now {
		t.Errorf("%d, %v: not between %d and %d", l, ok, p.Local, now)
	}
	for name, spoil := range map[string]func(*hostclock.Pair){
		"a step":  func(p *hostclock.Pair) { p.System = p.System.Add(2 * time.Millisecond) },
		"a sleep": func(p *hostclock.Pair) { p.SuspendOffset -= time.Second },
	} {
		q := p
		spoil(&q)
		n.Note(q)
		n.Note(q)
		a.Bracket()
		if _, ok := a.ToLocal(timescale.UTCOf(time.Now()).Add(-time.Microsecond)); ok {
			t.Errorf("converted across %s", name)
		}
	}
}
