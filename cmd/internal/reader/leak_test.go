package reader

import (
	"bytes"
	"context"
	"io"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
)

// TestMain fails where a test leaves a goroutine behind.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// A wait ends at its limit and at Ctrl-C, and says what was not reached and what to do.
func TestUntilEnds(t *testing.T) {
	t.Setenv("SYSTEMD_UNIT_PATH", t.TempDir())
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	for name, row := range map[string]struct {
		ctx   context.Context
		limit time.Duration
	}{"limit": {t.Context(), time.Millisecond}, "Ctrl-C": {ended, time.Hour}} {
		var out bytes.Buffer
		code, err := Until(row.ctx, cli.Until{Modes: []string{"FT8"}, Limit: row.limit, Where: cli.Where{RunDir: t.TempDir()}}, &out)
		if err != nil || code != exit.No {
			t.Errorf("%s: %d, %v", name, code, err)
		}
		if said := strings.Join(strings.Fields(out.String()), " "); !strings.Contains(said, "NOT reached") || !strings.Contains(said, "Start noonmark: noonmark run.") {
			t.Errorf("%s: %s", name, said)
		}
	}
}

// Without a service each reader refuses, names the remedy, and never says yes.
func TestNothingPublished(t *testing.T) {
	t.Setenv("SYSTEMD_UNIT_PATH", t.TempDir())
	where := cli.Where{RunDir: t.TempDir()}
	var out bytes.Buffer
	code, err := Ready(cli.Ready{Where: where}, &out)
	if err != nil || code != exit.Cannot || !strings.Contains(out.String(), "cannot tell") || !strings.Contains(out.String(), "Start noonmark: noonmark run.") {
		t.Errorf("ready: %d, %v, %s", code, err, out.String())
	}
	for name, run := range map[string]func(io.Writer) (int, error){
		"why": func(w io.Writer) (int, error) { return Why(cli.Why{Where: where}, w) },
		"pin": func(w io.Writer) (int, error) { return PIN(cli.Pin{Where: where}, w) },
	} {
		var out bytes.Buffer
		if code, err := run(&out); code != exit.Cannot || err == nil || !strings.Contains(err.Error(), "noonmark run") || out.Len() > 0 {
			t.Errorf("%s: %d, %v, %s", name, code, err, out.String())
		}
	}
}
