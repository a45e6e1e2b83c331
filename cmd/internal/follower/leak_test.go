package follower

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"noonmark/cmd/internal/cli"
)

// TestMain fails where a test leaves a goroutine behind.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// logged calls what it waits for when its word is logged.
type logged struct {
	mu   sync.Mutex
	text strings.Builder
	word string
	then func()
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.text.Write(p)
	if strings.Contains(string(p), l.word) {
		l.then()
	}
	return len(p), nil
}

// With commands, or with a broker that nobody plays, it ends when it is asked to.
func TestFollowEnds(t *testing.T) {
	for name, row := range map[string]struct{ settings, part, word string }{
		"commands": {"[events]\nverdict_lost = [\"/nonexistent/alarm\"]\n", "commands", "/nonexistent/alarm"},
		"broker":   {"[mqtt]\nbroker = \"mqtt://127.0.0.1:1\"\n", "broker", "refused"},
	} {
		t.Run(name, func(t *testing.T) {
			ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
			defer cancel()
			settings := filepath.Join(t.TempDir(), "noonmark.toml")
			if err := os.WriteFile(settings, []byte(row.settings), 0o600); err != nil {
				t.Fatal(err)
			}
			log := &logged{word: row.word, then: cancel}
			err := Follow(ctx, cli.Follow{Part: row.part, Config: settings, Where: cli.Where{RunDir: t.TempDir()}}, log)
			if err != nil || ctx.Err() != context.Canceled {
				t.Errorf("%v, %v: %s", err, ctx.Err(), log.text.String())
			}
		})
	}
}

// The process of the broker ends with us.
func TestChildEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	c := &child{path: "/bin/sleep", args: []string{"600"}, log: slog.New(slog.DiscardHandler)}
	pid := 0
	c.run(ctx, func(cmd *exec.Cmd) error {
		defer cancel()
		err := cmd.Start()
		if err == nil {
			pid = cmd.Process.Pid
		}
		return err
	})
	if _, err := os.Stat(fmt.Sprintf("/proc/%d", pid)); pid == 0 || err == nil {
		t.Errorf("process %d goes on", pid)
	}
}
