// Package pagetest drives a real headless Chromium for tests of the page.
//
// Only tests import it. Without a browser a test that asks for one is skipped,
// and says why; only NOONMARK_BROWSER=on runs them. With NOONMARK_SHOTS set to a
// folder, Shot keeps what it saw.
package pagetest

import (
	"bytes"
	"context"
	"image"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
)

// Browser is one tab.
type Browser struct {
	t   testing.TB
	ctx context.Context
}

// Open starts a browser of its own for a test, at 360 by 640.
func Open(t testing.TB) *Browser { return OpenFor(t, 10*time.Minute) }

// OpenFor is Open for a test that may take so long.
func OpenFor(t testing.TB, limit time.Duration) *Browser {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no chromium here: apt-get install chromium")
	}
	if testing.Short() || os.Getenv("NOONMARK_BROWSER") != "on" {
		t.Skip("a browser takes minutes: NOONMARK_BROWSER=on runs it, as .ci/run does")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox)
	ctx, cancel := context.WithTimeout(context.Background(), limit)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	b := &Browser{t, ctx}
	b.Size(360, 640)
	return b
}

// Tab opens another tab of the same browser.
func (b *Browser) Tab(t testing.TB) *Browser {
	t.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx)
	t.Cleanup(cancel)
	tab := &Browser{t, ctx}
	tab.Size(360, 640)
	return tab
}

// Freeze freezes the page's life, as a browser does with one that nobody looks at, or
// lets it go on.
func (b *Browser) Freeze(frozen bool) {
	b.t.Helper()
	state := page.SetWebLifecycleStateStateActive
	if frozen {
		state = page.SetWebLifecycleStateStateFrozen
	}
	b.call(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, page.SetWebLifecycleState, page.SetWebLifecycleStateParams{State: state})
		return err
	})
}

// Do runs steps of the browser's own protocol.
func (b *Browser) Do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.t.Fatal(err)
	}
}

// Size sets the viewport, CSS pixels.
func (b *Browser) Size(w, h int64) {
	b.t.Helper()
	b.Do(chromedp.EmulateViewport(w, h))
}

// Go opens an address and waits until it is loaded.
func (b *Browser) Go(url string) {
	b.t.Helper()
	b.Do(chromedp.Navigate(url))
}

// Media sets a preference of the system, e.g. prefers-color-scheme to dark.
func (b *Browser) Media(name, value string) {
	b.t.Helper()
	b.call(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: name, Value: value}}})
		return err
	})
}

// Paper switches between screen ("") and "print".
func (b *Browser) Paper(media string) {
	b.t.Helper()
	b.call(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: media})
		return err
	})
}

// Scripts switches the page's own scripts on or off.
func (b *Browser) Scripts(on bool) {
	b.t.Helper()
	b.call(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: !on})
		return err
	})
}

// Key presses a key, as a person does.
func (b *Browser) Key(name string) {
	b.t.Helper()
	b.call(func(ctx context.Context, t *chromedp.Target) error {
		for _, kind := range []input.DispatchKeyEventType{input.DispatchKeyEventTypeKeyDown, input.DispatchKeyEventTypeKeyUp} {
			p := input.DispatchKeyEventParams{Type: kind, Key: name, Code: name}
			if name == "Enter" {
				p.Text, p.WindowsVirtualKeyCode = "\r", 13
			}
			if _, err := cdp.Call(ctx, t, input.DispatchKeyEvent, p); err != nil {
				return err
			}
		}
		return nil
	})
}

// Before runs a script in every page opened from now on, before its own.
func (b *Browser) Before(script string) {
	b.t.Helper()
	b.call(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: script})
		return err
	})
}

// Pages prints and returns the PDF.
func (b *Browser) PDF() []byte {
	b.t.Helper()
	r, err := chromedp.Run(b.ctx, func(ctx context.Context, t *chromedp.Target) ([]byte, error) {
		r, err := cdp.Call(ctx, t, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: 8.27, PaperHeight: 11.69})
		if err != nil {
			return nil, err
		}
		return r.Data, nil
	})
	if err != nil {
		b.t.Fatal(err)
	}
	return r
}

func (b *Browser) call(f func(ctx context.Context, t *chromedp.Target) error) {
	b.t.Helper()
	b.Do(chromedp.Func(f))
}

// Eval evaluates a script and returns its value; promises are awaited.
func Eval[T any](b *Browser, script string) T {
	b.t.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v", script, err)
	}
	return v
}

// Text is the text of the element with an id, as it is shown.
func (b *Browser) Text(id string) string {
	b.t.Helper()
	return Eval[string](b, `document.getElementById("`+id+`").innerText`)
}

// Wait waits until a script's value is true.
func (b *Browser) Wait(script string, limit time.Duration) {
	b.t.Helper()
	for end := time.Now().Add(limit); ; time.Sleep(30 * time.Millisecond) {
		// While a page gives way to another, nothing can be asked.
		is, err := chromedp.Run(b.ctx, chromedp.Evaluate[bool](script))
		if err == nil && is {
			return
		}
		if time.Now().After(end) {
			b.t.Fatalf("not within %s: %s (%v)", limit, script, err)
		}
	}
}

// Picture is what is on the screen.
func (b *Browser) Picture() image.Image {
	b.t.Helper()
	file, err := chromedp.Run(b.ctx, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Fatal(err)
	}
	picture, err := png.Decode(bytes.NewReader(file))
	if err != nil {
		b.t.Fatal(err)
	}
	return picture
}

// Shot keeps two pictures as artefacts of the test: of what is on the screen, and
// of the whole page.
func (b *Browser) Shot(name string) {
	b.t.Helper()
	dir := os.Getenv("NOONMARK_SHOTS")
	if dir == "" {
		return
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		b.t.Fatal(err)
	}
	for kind, take := range map[string]chromedp.Action[[]byte]{"screen": chromedp.CaptureScreenshot(), "whole": chromedp.FullScreenshot(100)} {
		png, err := chromedp.Run(b.ctx, take)
		if err == nil {
			err = os.WriteFile(filepath.Join(dir, name+"-"+kind+".png"), png, 0o644)
		}
		if err != nil {
			b.t.Fatal(err)
		}
	}
}

// Violation is a breach of a rule that the accessibility engine found.
type Violation struct {
	ID, Help string
	Nodes    []string
}

// Accessible runs the accessibility engine axe-core over the page: its rules for
// WCAG 2.2 up to AA over all of it, and the enhanced contrast of AAA within what the
// selector near finds; "" = nowhere. dir is the folder whose node_modules holds the
// engine; without it the test is skipped.
func (b *Browser) Accessible(dir, near string) []Violation {
	b.t.Helper()
	engine, err := os.ReadFile(filepath.Join(dir, "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		b.t.Skipf("no accessibility engine here: (cd %s && npm ci)", dir)
	}
	if !Eval[bool](b, `typeof axe === "object"`) {
		Eval[bool](b, string(engine)+"; true")
	}
	return Eval[[]Violation](b, `(async () => {
		const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];
		const all = await axe.run(document, {runOnly: {type: "tag", values: tags}, resultTypes: ["violations"], rules: {"target-size": {enabled: true}}});
		const near = !"`+near+`" ? {violations: []} : await axe.run("`+near+`", {runOnly: {type: "rule", values: ["color-contrast-enhanced"]}, resultTypes: ["violations"]});
		return all.violations.concat(near.violations).map(v => ({ID: v.id, Help: v.help, Nodes: v.nodes.map(n => n.html.slice(0, 120) + " " + n.failureSummary)}));
	})()`)
}
