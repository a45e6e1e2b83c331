package follow

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"noonmark/status"
)

// script writes an executable shell script.
func script(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "script")
	if err := os.WriteFile(path, []byte("#!/bin/sh\n"+text+"\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	return path
}

// patience is how long a test waits for what comes at once on an idle machine.
const patience = 20 * time.Second

type outcomes struct {
	mu  sync.Mutex
	all []Outcome
}

func (o *outcomes) done(out Outcome) { o.mu.Lock(); o.all = append(o.all, out); o.mu.Unlock() }

func (o *outcomes) wait(t *testing.T, n int) []Outcome {
	t.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		o.mu.Lock()
		all := append([]Outcome(nil), o.all...)
		o.mu.Unlock()
		if len(all) >= n {
			return all
		}
	}
	t.Fatalf("%d outcomes wanted, got %+v", n, o.all)
	return nil
}

func begin(t *testing.T, commands map[string][]string, limit time.Duration) (*Runner, *outcomes, context.CancelFunc) {
	t.Helper()
	o := &outcomes{}
	r := NewRunner(commands, limit, o.done)
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { r.Run(ctx); close(ended) }()
	t.Cleanup(func() {
		cancel()
		select {
		case <-ended:
		case <-time.After(3 * grace):
			t.Error("the runner did not end")
		}
	})
	return r, o, cancel
}

func put(t *testing.T, r *Runner, e Event) {
	t.Helper()
	if err := r.Put(e, at(1, nil).Status); err != nil {
		t.Fatal(err)
	}
}

// TestCommandIsTold: variables, standard input, arguments as they are, output logged.
func TestCommandIsTold(t *testing.T) {
	dir := t.TempDir()
	path := script(t, `cat >"$1/in"; env | grep ^NOONMARK_ | grep -v -e _BROWSER -e _COMMAND | sort >"$1/env"; echo "arg: $2"; echo complaint >&2; exit 3`)
	r, o, _ := begin(t, map[string][]string{TrustChanged: {path, dir, "a b'$(c)"}, VerdictLost: {}}, time.Minute)
	put(t, r, Event{Kind: VerdictLost})
	put(t, r, Event{Kind: TrustChanged, Reference: "receiver\x1b[2J", Is: "silent", Was: "trusted", Text: "It is\nsilent."})
	out := o.wait(t, 1)
	if len(out) != 1 || out[0].Err == nil || !strings.Contains(out[0].Err.Error(), "exit status 3") || out[0].Printed != "arg: a b'$(c)\ncomplaint\n" {
		t.Errorf("%+v", out)
	}
	env, err := os.ReadFile(filepath.Join(dir, "env"))
	if err != nil {
		t.Fatal(err)
	}
	want := "NOONMARK_EVENT=trust-changed\nNOONMARK_IS=silent\nNOONMARK_LOCATOR=\nNOONMARK_MISSED=0\nNOONMARK_MODE=\n" +
		"NOONMARK_REFERENCE=receiver?[2J\nNOONMARK_TEXT=It is silent.\nNOONMARK_WAS=trusted\n"
	if string(env) != want {
		t.Errorf("environment\n%s\nwant\n%s", env, want)
	}
	in, err := os.ReadFile(filepath.Join(dir, "in"))
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Event  string
		Was    string
		Status status.Snapshot
	}
	if err := json.Unmarshal(in, &got); err != nil || got.Event != "trust-changed" || got.Was != "trusted" || got.Status.Modes[0].Mode != "FT8" {
		t.Errorf("standard input %s: %v", in, err)
	}
}

// TestTimeLimit: a command that does not end, ignores the request to, and has
// children, is gone with all of them; so is one whose child holds its output.
func TestTimeLimit(t *testing.T) {
	dir := t.TempDir()
	stubborn := script(t, `trap '' TERM; sleep 300 & echo $! >"$1/child"; echo $$ >"$1/self"; while :; do sleep 1; done`)
	const limit = 3 * time.Second // a busy machine needs some of it to start a shell
	leaver := script(t, `sleep 300 & echo $! >"$1/left"`)
	r, o, _ := begin(t, map[string][]string{VerdictLost: {stubborn, dir}, BatteryLow: {leaver, dir}}, limit)
	put(t, r, Event{Kind: VerdictLost})
	put(t, r, Event{Kind: BatteryLow})
	for _, out := range o.wait(t, 2) {
		want := error(nil)
		if out.Event.Kind == VerdictLost {
			want = ErrTooLong
		}
		if !errors.Is(out.Err, want) || out.Took > limit+time.Second+2*grace {
			t.Errorf("%s: %v after %v", out.Event.Kind, out.Err, out.Took)
		}
	}
	for _, name := range []string{"child", "self", "left"} {
		gone(t, dir, name)
	}
}

// gone waits until the process whose number a script left in a file is no more.
func gone(t *testing.T, dir, name string) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	pid, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(patience); ; time.Sleep(10 * time.Millisecond) {
		if errors.Is(syscall.Kill(pid, 0), syscall.ESRCH) || zombie(pid) {
			return
		}
		if time.Now().After(end) {
			_ = syscall.Kill(pid, syscall.SIGKILL)
			t.Errorf("%s, process %d, is still there", name, pid)
			return
		}
	}
}

// zombie: a killed orphan that nobody has waited for yet.
func zombie(pid int) bool {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	return err != nil || strings.Contains(string(b), ") Z ")
}

// TestOneAtATime: commands of one kind never overlap, wait in a bounded queue, and
// the next is told how many were given up.
func TestOneAtATime(t *testing.T) {
	dir := t.TempDir()
	path := script(t, `mkdir "$1/busy" || exit 9; echo "$NOONMARK_MODE $NOONMARK_MISSED"; sleep 0.1; while [ ! -e "$1/go" ]; do sleep 0.05; done; rmdir "$1/busy"`)
	r, o, _ := begin(t, map[string][]string{VerdictLost: {path, dir}}, time.Minute)
	put(t, r, Event{Kind: VerdictLost, Mode: "first"})
	for end := time.Now().Add(patience); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(filepath.Join(dir, "busy")); err == nil {
			break
		}
		if time.Now().After(end) {
			t.Fatal("the first command did not start")
		}
	}
	for i := range maxWaiting + 3 {
		put(t, r, Event{Kind: VerdictLost, Mode: fmt.Sprint(i)})
	}
	if err := os.WriteFile(filepath.Join(dir, "go"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, out := range o.wait(t, 1+maxWaiting) {
		if out.Err != nil {
			t.Errorf("%+v", out)
		}
		said = append(said, strings.TrimSpace(out.Printed))
	}
	if got := strings.Join(said, ", "); got != "first 0, 3 3, 4 0, 5 0, 6 0, 7 0, 8 0, 9 0, 10 0" {
		t.Errorf("got %s", got)
	}
}

// TestEndEndsCommands: when we end, what runs is ended too, soon.
func TestEndEndsCommands(t *testing.T) {
	dir := t.TempDir()
	path := script(t, `touch "$1/started"; sleep 300`)
	r, o, cancel := begin(t, map[string][]string{VerdictLost: {path, dir}}, time.Minute)
	put(t, r, Event{Kind: VerdictLost})
	for end := time.Now().Add(patience); ; time.Sleep(5 * time.Millisecond) {
		if _, err := os.Stat(filepath.Join(dir, "started")); err == nil {
			break
		}
		if time.Now().After(end) {
			t.Fatal("the command did not start")
		}
	}
	cancel()
	if out := o.wait(t, 1)[0]; out.Err == nil || out.Took > 15*time.Second {
		t.Errorf("%+v", out)
	}
}

// TestNoSuchProgram is said and ends nothing.
func TestNoSuchProgram(t *testing.T) {
	r, o, _ := begin(t, map[string][]string{VerdictLost: {"/nonexistent/beep"}}, time.Minute)
	put(t, r, Event{Kind: VerdictLost})
	put(t, r, Event{Kind: VerdictLost})
	for _, out := range o.wait(t, 2) {
		if !errors.Is(out.Err, os.ErrNotExist) {
			t.Errorf("%v", out.Err)
		}
	}
}

// TestOnlyTheBeginningIsKept: whatever a command prints, what is kept of it is bounded.
func TestOnlyTheBeginningIsKept(t *testing.T) {
	path := script(t, `head -c 50000000 /dev/zero | tr '\0' x`)
	r, o, _ := begin(t, map[string][]string{VerdictLost: {path}}, time.Minute)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	put(t, r, Event{Kind: VerdictLost})
	out := o.wait(t, 1)[0]
	runtime.ReadMemStats(&after)
	if out.Err != nil || len(out.Printed) != maxPrinted {
		t.Errorf("%d bytes kept, %v", len(out.Printed), out.Err)
	}
	if took := after.TotalAlloc - before.TotalAlloc; took > 10<<20 {
		t.Errorf("50 MB of output took %d MB of memory", took>>20)
	}
}

// TestNoDescendantIsLeft: a grandchild in a session of its own, one that lost its
// parents too, and one that wiped its environment end with the command; what is no
// command goes on.
func TestNoDescendantIsLeft(t *testing.T) {
	dir := t.TempDir()
	path := script(t, `cd "$1"
setsid sh -c 'echo $$ >session; exec sleep 300' &
(setsid sh -c 'echo $$ >orphan; sleep 300 & echo $! >child; wait' &)
(env -i PATH="$PATH" setsid sh -c 'echo $$ >wiped; exec sleep 300' &)
while [ ! -s session ] || [ ! -s orphan ] || [ ! -s child ] || [ ! -s wiped ]; do sleep 0.02; done`)
	r, o, _ := begin(t, map[string][]string{VerdictLost: {path, dir}}, time.Minute)
	other := exec.Command("sleep", "300")
	other.Env = os.Environ()
	if err := r.Keep(other); err != nil {
		t.Fatal(err)
	}
	defer other.Wait()
	defer other.Process.Kill()
	put(t, r, Event{Kind: VerdictLost})
	if out := o.wait(t, 1)[0]; out.Err != nil {
		t.Fatal(out.Err)
	}
	for _, name := range []string{"session", "orphan", "child", "wiped"} {
		gone(t, dir, name)
	}
	if err := other.Process.Signal(syscall.Signal(0)); err != nil || zombie(other.Process.Pid) {
		t.Errorf("what is no command was ended too: %v", err)
	}
}

// TestOwnEnvironment: a command gets what is on the list and nothing else.
func TestOwnEnvironment(t *testing.T) {
	t.Setenv("CREDENTIALS_DIRECTORY", "/run/secret")
	t.Setenv("LANG", "C.UTF-8")
	path := script(t, `env | cut -d= -f1 | sort | tr '\n' ' '`)
	r, o, _ := begin(t, map[string][]string{VerdictLost: {path}}, time.Minute)
	put(t, r, Event{Kind: VerdictLost})
	got := o.wait(t, 1)[0].Printed
	if strings.Contains(got, "CREDENTIALS") || !strings.Contains(got, "LANG ") || !strings.Contains(got, "PATH ") {
		t.Errorf("variables %s", got)
	}
}
