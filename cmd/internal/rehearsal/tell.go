package rehearsal

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/world"
	"noonmark/cmd/internal/wrap"
	"noonmark/status"
)

// begin says what will be seen, and how to look at it.
func (d *demonstration) begin(s world.Scenario, c cli.Demo) {
	fmt.Fprint(d.out, wrap.Text("", "SIMULATION of a station on a salt flat: "+s.Summary+"."))
	if c.Speed == 0 {
		fmt.Fprintln(d.out)
		return
	}
	if dir := d.publish.Dir(); dir == (config.Environment{Getenv: os.Getenv, UID: os.Getuid()}).DemoDir() {
		fmt.Fprint(d.out, wrap.Text("", "In another terminal: noonmark ready --demo. So too: why, grid, path, report, screen, mark."))
	} else {
		fmt.Fprint(d.out, wrap.Text("", "In another terminal: noonmark ready --run-dir "+dir+". So too: why, grid, path, report, screen, mark."))
	}
	fmt.Fprintf(d.out, "%s\n", wrap.Text("", "Status of the simulation: "+filepath.Join(d.publish.Dir(), status.FileName)))
}

// terms are the words that a newcomer meets, in the order of looking.
var terms = []struct{ word, means string }{
	{status.BasisRTC + ":", "rtc: the hardware clock, which a battery keeps going while the computer is off"},
	{status.BasisGNSS + ":", "gnss: the satellite receiver"},
	{status.BasisHoldover + ":", "holdover: nothing tells the time now; the computer's oscillator is known well enough to go on"},
	{status.Within, "within: the clock is right enough for this mode, even in the worst case"},
	{status.Borderline, "borderline: noonmark is not sure; do not key up"},
	{status.Outside, "outside: the clock is wrong for this mode; do not key up"},
	{status.Unknown, "unknown: nothing tells the time yet; do not key up"},
}

// explain tells what the words of a line mean, each once.
func (d *demonstration) explain(line string) string {
	out := ""
	for _, t := range terms {
		if strings.Contains(line, t.word) && !d.told[t.word] {
			d.told[t.word] = true
			out += wrap.Text("    ", "("+t.means+")")
		}
	}
	return out
}

// show prints what has changed.
func (d *demonstration) show() error {
	if d.json {
		if d.world.Elapsed()%time.Minute != 0 {
			return nil
		}
		return json.NewEncoder(d.out).Encode(d.snap)
	}
	at := d.world.UTC().Time().Format("15:04:05")
	news := ""
	if c := d.world.Chapter(); c != d.chapter {
		d.chapter = c
		news += wrap.Text("", at+" UTC STORY: "+c)
	}
	if p := d.snap.Position; p != nil && p.Locator != "" && d.place == "" {
		d.place = p.Locator
		news += fmt.Sprintf("%s UTC place: locator %s\n", at, p.Locator)
	}
	news += d.verdicts(at)
	if news == "" {
		d.bar.Show(float64(d.world.Elapsed())/float64(d.end), fmt.Sprintf("%s UTC, %s of %s", at[:5], status.Span(d.world.Elapsed().Seconds()), status.Span(d.end.Seconds())))
		return nil
	}
	d.bar.Clear()
	_, err := io.WriteString(d.out, news)
	return err
}

// verdicts words the judgement where it has changed.
func (d *demonstration) verdicts(at string) string {
	var verdicts []string
	for _, m := range d.snap.Modes {
		verdicts = append(verdicts, m.Mode+" "+m.Verdict)
	}
	head := d.snap.Clock.Basis + ": " + strings.Join(verdicts, ", ")
	if head == d.last {
		return ""
	}
	d.last = head
	next := ""
	if a := d.snap.Advice; a != nil && a.Kind != status.AdviceNone {
		next = wrap.Text("    ", "Next: "+a.Text)
	}
	return wrap.Text("", at+" UTC "+head) + d.explain(head) + wrap.Text("    ", d.snap.Clock.Because) + next +
		wrap.Text("    ", fmt.Sprintf("(truth: the clock is %+.3f s off)", d.world.SystemError()))
}

// ending is what is to be known when the story is over: five lines.
func (d *demonstration) ending() error {
	lines := strings.Split(strings.TrimSuffix(d.snap.Brief(wrap.Columns), "\n"), "\n")
	var other []string
	for _, s := range world.Scenarios() {
		other = append(other, s.Name)
	}
	_, err := fmt.Fprintf(d.out, "\nThe end. In the simulation: %s\n%s%s%s", lines[1], wrap.Text("", d.snap.Position.Line()),
		wrap.Text("", "Other stories: --scenario "+strings.Join(other, ", ")+"."),
		wrap.Text("", "Your own station: noonmark preflight, then noonmark run."))
	return err
}
