// Command stationlab plays simulated station-nights through the code of the
// service and tells how it judged: scenarios from text files, and worlds drawn at
// random. It reads no device, no clock, and publishes nothing.
package main

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/alecthomas/kong"

	"noonmark/cmd/internal/lab"
)

type commands struct {
	Run      run      `cmd:"" help:"Play scenarios and tell what held."`
	Nights   nights   `cmd:"" help:"Play random nights of 12 h."`
	Refusals refusals `cmd:"" help:"Tell which explanation refuses while the clock is inside the tolerance."`
	Ablate   ablate   `cmd:"" help:"Forbid the judge one explanation after the other and tell which scenarios fall."`
	Steady   steady   `cmd:"" help:"Measure the estimate in the steady state beside the optimum and the loop of RFC 5905."`
	Plot     plot     `cmd:"" help:"Draw one night as SVG: error, bound, tolerance, verdict, events."`
	Story    story    `cmd:"" help:"Tell one night as it goes: each change of what the station says."`
}

// errFell is a run in which something did not hold; it has been told already.
var errFell = errors.New("stationlab: not all held")

func main() {
	var c commands
	k := kong.Parse(&c, kong.Name("stationlab"), kong.Description("Simulated station-nights, played through the code of the service."),
		kong.BindTo(os.Stdout, (*io.Writer)(nil)))
	if err := k.Run(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		if errors.Is(err, errFell) {
			os.Exit(1)
		}
		os.Exit(2)
	}
}

// files are scenarios: files, or folders of *.scenario.
type files struct {
	Files []string `arg:"" name:"file" help:"Scenario files, or folders of them."`
}

func (f files) cases() ([]*lab.Case, error) {
	var names []string
	for _, p := range f.Files {
		if st, err := os.Stat(p); err == nil && st.IsDir() {
			found, err := filepath.Glob(filepath.Join(p, "*.scenario"))
			if err != nil || len(found) == 0 {
				return nil, fmt.Errorf("stationlab: no *.scenario in %s", p)
			}
			names = append(names, found...)
			continue
		}
		names = append(names, p)
	}
	var out []*lab.Case
	for _, n := range names {
		c, err := lab.Read(n)
		if err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}

type run struct {
	files
	Seeds   uint64   `default:"5" help:"Nights a scenario."`
	Without []string `help:"Forbid the judge an explanation; a name that does not exist lists them."`
	JSON    bool     `name:"json" help:"Print JSON, with each night."`
}

func (r run) Run(out io.Writer) error {
	cases, err := r.cases()
	if err != nil {
		return err
	}
	without, err := forbid(r.Without)
	if err != nil {
		return err
	}
	nights := lab.PlayAll(lab.Seeds(cases, r.Seeds), without)
	rows := lab.Rows(nights)
	if r.JSON {
		if err := json.NewEncoder(out).Encode(map[string]any{"scenarios": rows, "nights": nights}); err != nil {
			return err
		}
	} else {
		lab.Table(out, rows)
	}
	for _, row := range rows {
		if row.Good < row.Nights {
			return errFell
		}
	}
	return nil
}

func forbid(names []string) (lab.Forbidden, error) {
	f, err := lab.Forbid(names...)
	if err != nil {
		return 0, fmt.Errorf("stationlab: %w", err)
	}
	return f, nil
}

// drawn is a night that is drawn at random.
type drawn struct {
	Kinds string `enum:"old,new,ear" default:"old" help:"Kinds of nights: ${enum}."`
	Only  string `placeholder:"KIND" help:"A new kind that each night must have, or the kind of night with an ear; a name that does not exist lists them."`
}

func (d drawn) check() error {
	if d.Kinds == "ear" {
		if d.Only != "" && !slices.Contains(lab.Ears, d.Only) {
			return fmt.Errorf("stationlab: with --kinds ear, --only is one of: %s", strings.Join(lab.Ears, ", "))
		}
		return nil
	}
	if names := lab.KindNames(); d.Only != "" && (d.Kinds != "new" || !slices.Contains(names, d.Only)) {
		return fmt.Errorf("stationlab: --only goes with --kinds new, and one of: %s", strings.Join(names, ", "))
	}
	return nil
}

// night is the one of a seed.
func (d drawn) night(seed uint64) *lab.Case {
	switch d.Kinds {
	case "new":
		return lab.RandomNew(seed, d.Only)
	case "ear":
		return lab.RandomEar(seed, cmp.Or(d.Only, lab.Ears[0]))
	}
	return lab.Random(seed)
}

type story struct {
	drawn
	File    string        `arg:"" optional:"" help:"Scenario file."`
	Random  uint64        `placeholder:"SEED" help:"A random night instead of a file."`
	Seed    uint64        `default:"1" help:"Which night."`
	Without []string      `help:"Forbid the judge an explanation."`
	Why     time.Duration `placeholder:"AT" help:"Print what was read around this time, and what each explanation made of it, e.g. 1h2m."`
}

func (t story) Run(out io.Writer) error {
	if err := t.check(); err != nil {
		return err
	}
	c, err := t.night(t.Random), error(nil)
	if t.Random == 0 {
		c, err = lab.Read(t.File)
	} else {
		t.Seed = t.Random
		lab.Describe(out, c)
	}
	if err != nil {
		return err
	}
	without, err := forbid(t.Without)
	if err != nil {
		return err
	}
	trace := lab.Teller(out)
	if t.Why != 0 {
		w := &why{out: out, from: t.Why - around, to: t.Why + around}
		c.Make, c.Record, trace = w.make, w.input, w.trace(trace)
	}
	n := c.Play(t.Seed, without, trace)
	lab.Table(out, lab.Rows([]*lab.Night{n}))
	return nil
}

type ablate struct {
	files
	Seeds uint64 `default:"2" help:"Nights a scenario."`
	All   bool   `help:"Play all scenarios without each explanation, not only those that say they show it."`
}

func (a ablate) Run(out io.Writer) error {
	cases, err := a.cases()
	if err != nil {
		return err
	}
	sound := true
	for _, name := range lab.Explanations() {
		without, err := lab.Forbid(name)
		if err != nil {
			return err
		}
		var played []*lab.Case
		for _, c := range cases {
			if a.All || slices.Contains(c.Shows, name) {
				played = append(played, c)
			}
		}
		var fall, stand []string
		for _, row := range lab.Rows(lab.PlayAll(lab.Seeds(played, a.Seeds), without)) {
			switch {
			case row.Good < row.Nights:
				fall = append(fall, row.Scenario)
			case !a.All:
				stand = append(stand, row.Scenario)
			}
		}
		fmt.Fprintf(out, "without %-40s fall: %s\n", name, strings.Join(fall, ", "))
		if len(fall) == 0 || len(stand) > 0 {
			sound = false
			fmt.Fprintf(out, "        %-40s stand all the same: %s\n", "", strings.Join(stand, ", "))
		}
	}
	if !sound {
		return errFell
	}
	return nil
}

type plot struct {
	drawn
	File   string `arg:"" optional:"" help:"Scenario file."`
	Random uint64 `placeholder:"SEED" help:"A random night instead of a file."`
	Seed   uint64 `default:"1" help:"Which night."`
	Out    string `short:"o" default:"night.svg" help:"File to write."`
}

func (p plot) Run(io.Writer) error {
	if err := p.check(); err != nil {
		return err
	}
	c, err := p.night(p.Random), error(nil)
	if p.Random == 0 {
		if c, err = lab.Read(p.File); err != nil {
			return err
		}
	}
	var picture lab.Picture
	c.Play(p.Seed, 0, picture.Add)
	if err := os.WriteFile(p.Out, picture.SVG(c), 0o644); err != nil {
		return fmt.Errorf("stationlab: %w", err)
	}
	return nil
}
