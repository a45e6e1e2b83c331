package follower

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"time"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/sleep"
)

// Parts of the work.
const (
	partCommands = "commands"
	partBroker   = "broker"
)

// childMark tells a process that it is the broker's, and whose child it is.
const childMark = "NOONMARK_FOLLOWED_BY"

const (
	childGrace = 5 * time.Second // from asking to killing: with the rest below 10 s
	firstAgain = 5 * time.Second
	longAgain  = time.Minute
)

// child is the broker in a process of its own: whatever a broker does to it, commands
// are run. It is started again when it ends, and ends with us.
type child struct {
	args []string
	log  *slog.Logger
	path string
}

func newChild(c cli.Follow, log *slog.Logger) *child {
	args := []string{"follow", "--part", partBroker}
	for flag, value := range map[string]string{"--config": c.Config, "--run-dir": c.RunDir} {
		if value != "" {
			args = append(args, flag+"="+value)
		}
	}
	if c.Verbose {
		args = append(args, "--verbose")
	}
	if c.JSON {
		args = append(args, "--json")
	}
	return &child{args: args, log: log, path: "/proc/self/exe"}
}

// run keeps the process until ctx ends.
func (c *child) run(ctx context.Context, start func(*exec.Cmd) error) {
	for again := firstAgain; ; again = min(2*again, longAgain) {
		begin := time.Now()
		err := c.once(ctx, start)
		if ctx.Err() != nil {
			return
		}
		if time.Since(begin) > longAgain {
			again = firstAgain
		}
		c.log.Warn("mqtt", "reason", fmt.Sprintf("the process that publishes ended (%v): it is started again in %s; commands go on", err, again))
		if sleep.For(ctx, again) != nil {
			return
		}
	}
}

func (c *child) once(ctx context.Context, start func(*exec.Cmd) error) error {
	cmd := exec.CommandContext(ctx, c.path, c.args...)
	cmd.Env = append(withoutNotify(os.Environ()), fmt.Sprintf("%s=%d", childMark, os.Getpid()))
	cmd.Stdout, cmd.Stderr = os.Stderr, os.Stderr
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // a key pressed in a terminal asks us, and we ask it
	cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	cmd.WaitDelay = childGrace
	if err := start(cmd); err != nil {
		return err
	}
	// If memory runs out it goes first; any process may raise its own children's score.
	_ = os.WriteFile(fmt.Sprintf("/proc/%d/oom_score_adj", cmd.Process.Pid), []byte("1000"), 0)
	return cmd.Wait()
}

// withoutNotify: the service manager listens to this process only.
func withoutNotify(env []string) (out []string) {
	for _, v := range env {
		if !strings.HasPrefix(v, "NOTIFY_SOCKET=") {
			out = append(out, v)
		}
	}
	return out
}

// orphaned tells whether the process that started this one as its child is gone: then
// nobody would end it.
func orphaned(getenv func(string) string) func() bool {
	parent := getenv(childMark)
	return func() bool { return parent != "" && parent != fmt.Sprint(os.Getppid()) }
}
