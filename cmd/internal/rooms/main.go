// Command rooms draws the program's packages and who imports whom, for DEVELOPERS.md:
//
//	go run ./cmd/internal/rooms [DEVELOPERS.md]
//
// prints, or puts into the file in place of the chart that is there, a Mermaid flow chart, one box a package, grouped by top folder. An arrow that
// others imply is left out: A → C, where A → B → C (the transitive reduction). What only
// tests import is left out too. A leaf that many import stands in a box of its own,
// "everywhere", without its arrows.
package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"sort"
	"strings"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "rooms:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	c, err := drawn(".")
	if err != nil || len(args) == 0 {
		fmt.Print(c)
		return err
	}
	old, err := os.ReadFile(args[0])
	if err != nil {
		return err
	}
	text, err := replaced(string(old), c)
	if err != nil {
		return fmt.Errorf("%s: %w", args[0], err)
	}
	return os.WriteFile(args[0], []byte(text), 0o644)
}

// drawn is the chart of the module that dir lies in.
func drawn(dir string) (string, error) {
	cmd := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, module+"...")
	cmd.Dir = dir
	out, err := cmd.Output()
	if err != nil {
		return "", err
	}
	return chart(parse(string(out))), nil
}

// replaced is text with its Mermaid block holding c.
func replaced(text, c string) (string, error) {
	const begin, end = "```mermaid\n", "```\n"
	before, rest, ok := strings.Cut(text, begin)
	_, after, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		return "", errors.New("no block of ```mermaid to put the chart into")
	}
	return before + begin + c + end + after, nil
}

const (
	module = "noonmark/"
	many   = 6 // importers of a leaf, from which its arrows would hide the others
)

// imports maps each package of ours to those of ours that it imports.
type imports map[string][]string

// parse reads lines of a package and its imports. Packages that nothing reaches from
// the two programs are helpers of tests or tools: they are left out.
func parse(list string) imports {
	all := imports{}
	for _, line := range strings.Split(strings.TrimSpace(list), "\n") {
		f := strings.Fields(line)
		var ours []string
		for _, p := range f[1:] {
			if strings.HasPrefix(p, module) {
				ours = append(ours, strings.TrimPrefix(p, module))
			}
		}
		all[strings.TrimPrefix(f[0], module)] = ours
	}
	reached := imports{}
	var visit func(p string)
	visit = func(p string) {
		if _, seen := reached[p]; seen {
			return
		}
		if _, ours := all[p]; !ours {
			return
		}
		reached[p] = all[p]
		for _, q := range all[p] {
			visit(q)
		}
	}
	visit("cmd/noonmark")
	visit("cmd/stationlab")
	return reached
}

// reaches tells whether from imports to, by way of others at least.
func (m imports) reaches(from, to string) bool {
	for _, p := range m[from] {
		if p == to || m.reaches(p, to) {
			return true
		}
	}
	return false
}

// everywhere are the leaves that many import.
func (m imports) everywhere() map[string]bool {
	importers := map[string]int{}
	for _, to := range m {
		for _, p := range to {
			importers[p]++
		}
	}
	out := map[string]bool{}
	for p, n := range importers {
		out[p] = n >= many && len(m[p]) == 0
	}
	return out
}

// chart words the packages as a Mermaid flow chart.
func chart(m imports) string {
	rooms := map[string][]string{}
	var names []string
	everywhere := m.everywhere()
	for p := range m {
		top, _, _ := strings.Cut(p, "/")
		if everywhere[p] {
			top = "everywhere"
		}
		rooms[top] = append(rooms[top], p)
	}
	for top := range rooms {
		names = append(names, top)
		sort.Strings(rooms[top])
	}
	sort.Strings(names)
	var b bytes.Buffer
	b.WriteString("flowchart LR\n")
	for _, top := range names {
		fmt.Fprintf(&b, "  subgraph %s\n", top)
		for _, p := range rooms[top] {
			fmt.Fprintf(&b, "    %s[%q]\n", id(p), strings.TrimPrefix(strings.TrimPrefix(p, "cmd/internal/"), "cmd/"))
		}
		b.WriteString("  end\n")
	}
	for _, top := range names {
		for _, p := range rooms[top] {
			to := append([]string(nil), m[p]...)
			sort.Strings(to)
			for _, q := range to {
				if !everywhere[q] && !implied(m, p, q) {
					fmt.Fprintf(&b, "  %s --> %s\n", id(p), id(q))
				}
			}
		}
	}
	return b.String()
}

// implied tells whether p reaches q by another package that it imports.
func implied(m imports, p, q string) bool {
	for _, r := range m[p] {
		if r != q && m.reaches(r, q) {
			return true
		}
	}
	return false
}

func id(p string) string { return strings.NewReplacer("/", "_", "-", "_").Replace(p) }
