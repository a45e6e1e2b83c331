package prepare

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"rsc.io/qr"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/inspect"
	"noonmark/cmd/internal/reader"
	"noonmark/cmd/internal/settings"
	"noonmark/cmd/internal/sleep"
	"noonmark/cmd/internal/terminal"
	"noonmark/cmd/internal/wrap"
	"noonmark/status"
)

// lookEvery is how often the steps are looked at while they are shown.
const lookEvery = time.Second

// outcome is what prepare prints as JSON.
type outcome struct {
	Live  bool   `json:"live"` // false: a demo's
	Ready bool   `json:"ready"`
	Steps []Step `json:"steps"`
}

// Prepare leads through the steps until all are done, on a terminal; in a pipe it says
// how it stands and ends. It may be ended and called again at any time: the service goes
// on learning.
func Prepare(ctx context.Context, c cli.Prepare, out io.Writer) (int, error) {
	set, bad := settings.ForRun(cli.Run{Config: c.Config})
	e := Evening{Settings: set, Rehearsed: c.Demo}
	if !c.Demo { // the rest is of this computer
		var err error
		if e.Findings, err = inspect.Findings(ctx, set, bad, out); err != nil {
			return exit.No, err
		}
		e.Pages = pages(set.Publish.HTTP)
	}
	t := terminal.Of(out)
	if t.Is && !c.JSON && len(e.Pages) > 0 {
		fmt.Fprint(out, code(e.Pages[0], t.Width))
	}
	drawn := 0
	for {
		e.look(c.RunDir)
		steps := Steps(e)
		code := exit.OK
		if !Ready(steps) {
			code = exit.No
		}
		if c.JSON {
			return code, json.NewEncoder(out).Encode(outcome{!c.Demo, code == exit.OK, steps})
		}
		t.Up(drawn)
		text := Text(steps, t.Width)
		if c.Demo {
			text = wrap.To(t.Width, "", status.Simulated) + text
		}
		drawn = strings.Count(text, "\n")
		if _, err := io.WriteString(out, text); err != nil || code == exit.OK || !t.Is || c.Once || sleep.For(ctx, lookEvery) != nil {
			return code, err
		}
	}
}

// look reads the status of now.
func (e *Evening) look(runDir string) {
	s, now, err := reader.Published(runDir)
	e.Status, e.Problem = nil, ""
	switch f := status.Fresh(s, now); {
	case err != nil:
		e.Problem = upper(err.Error()) + "."
	case !s.Live && !e.Rehearsed:
		e.Problem = status.Simulated
	case !f.OK:
		e.Problem = f.Because
	default:
		e.Status = &s
	}
}

// signs stand before the steps.
var signs = map[string]string{Done: "[+]", Doing: "[.]", Missing: "[!]", Without: "[ ]"}

// Text is the list for a terminal.
func Text(steps []Step, width int) string {
	const indent = "    "
	var b strings.Builder
	done := 0
	for _, s := range steps {
		text := s.Name + ": " + status.Clean(s.Text)
		if s.WaitS.OK {
			text += " Another " + status.Span(max(s.WaitS.V, 1)) + "."
		}
		b.WriteString(signs[s.State] + wrap.To(width, indent, text)[len(indent)-1:])
		if s.State == Done || s.State == Without {
			done++
		}
	}
	last := fmt.Sprintf("%d of %d. Leave it running; Ctrl-C ends this view, and learning goes on.", done, len(steps))
	if Ready(steps) {
		last = "All is learned. Before you leave: noonmark preflight."
	}
	return b.String() + wrap.To(width, "", last)
}

// pages are the addresses of the page from the camp's network: none if it is served to
// this computer alone.
func pages(address string) []string {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil
	}
	if ip := net.ParseIP(host); ip != nil && !ip.IsUnspecified() {
		if ip.IsLoopback() {
			return nil
		}
		return []string{"http://" + address + "/"}
	}
	all, err := net.InterfaceAddrs()
	if err != nil || host != "" && net.ParseIP(host) == nil {
		return nil
	}
	var out []string
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && n.IP.To4() != nil && !n.IP.IsLoopback() && !n.IP.IsLinkLocalUnicast() {
			out = append(out, "http://"+net.JoinHostPort(n.IP.String(), port)+"/")
		}
	}
	return out
}

// code is a QR code (ISO/IEC 18004) of text in half blocks, dark on light whatever the
// terminal's colours; "" where it does not fit.
func code(text string, width int) string {
	q, err := qr.Encode(text, qr.L)
	const quiet = 2 // modules around it
	if err != nil || q.Size+2*quiet > width {
		return ""
	}
	var b strings.Builder
	for y := -quiet; y < q.Size+quiet; y += 2 {
		for x := -quiet; x < q.Size+quiet; x++ {
			b.WriteString(map[[2]bool]string{{false, false}: "█", {true, false}: "▄", {false, true}: "▀", {true, true}: " "}[[2]bool{q.Black(x, y), q.Black(x, y+1)}])
		}
		b.WriteString("\n")
	}
	return b.String()
}
