package rehearsal

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"

	"noonmark/cmd/internal/cli"
)

// TestMain fails where a test leaves a goroutine behind.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// A story with its page ends, by its own end or by the operator's, and leaves nothing
// behind: no page, and no status.
func TestDemoEnds(t *testing.T) {
	for name, c := range map[string]cli.Demo{
		"its own end":                 {Speed: 2000, For: time.Minute, HTTP: "127.0.0.1:0"},
		"without a page":              {Speed: 2000, For: time.Minute, HTTP: "none"},
		"Ctrl-C in real time, a page": {Speed: 1, HTTP: "127.0.0.1:0"},
	} {
		t.Run(name, func(t *testing.T) {
			c.Seed, c.RunDir = 1, t.TempDir()
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			out := &watched{}
			if c.For == 0 {
				out.ctrlC = cancel
			}
			if err := Demo(ctx, c, out); err != nil {
				t.Fatal(err)
			}
			if page := strings.Contains(out.String(), "Page: http"); page != (c.HTTP != "none") {
				t.Errorf("a page is %v:\n%s", page, out.String())
			}
			if left, err := os.ReadDir(c.RunDir); err != nil || len(left) != 0 {
				t.Errorf("left behind: %v, %v", left, err)
			}
		})
	}
}

// watched collects what is printed; ctrlC, if any, is called when the page is open.
type watched struct {
	bytes.Buffer
	ctrlC func()
}

func (w *watched) Write(p []byte) (int, error) {
	if w.ctrlC != nil && bytes.Contains(p, []byte("PIN for")) {
		w.ctrlC()
	}
	return w.Buffer.Write(p)
}
