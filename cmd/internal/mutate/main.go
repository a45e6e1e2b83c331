// Command mutate asks whether tests bite: it changes one line of a package at a time,
// runs the package's own tests on the changed source, and lists the changes that no
// test noticed. The tree itself is never written: the go command's -overlay shows it
// the changed file.
//
//	go run ./cmd/internal/mutate [--count 40] [--seed 1] [--long] PACKAGE-FOLDER...
package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string, out io.Writer) error {
	set := flag.NewFlagSet("mutate", flag.ContinueOnError)
	count := set.Int("count", 40, "lines changed in each package")
	seed := set.Uint64("seed", 1, "which lines")
	long := set.Bool("long", false, "play the tests too that -short leaves out")
	limit := set.Duration("limit", 2*time.Minute, "a run of the tests that takes longer counts as noticed")
	if err := set.Parse(args); err != nil {
		return err
	}
	if set.NArg() == 0 {
		return errors.New("name at least one folder of a package")
	}
	var all tally
	for _, dir := range set.Args() {
		t, err := try(ctx, dir, *count, rand.New(rand.NewPCG(*seed, 0)), tests{*limit, *long}, out)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "%s: %s\n", dir, t)
		all.killed, all.survived = all.killed+t.killed, all.survived+t.survived
	}
	if set.NArg() > 1 {
		fmt.Fprintf(out, "together: %s\n", all)
	}
	return nil
}

// tests says how they are run.
type tests struct {
	limit time.Duration
	long  bool
}

// tally counts the changes noticed and not noticed.
type tally struct{ killed, survived int }

func (t tally) String() string {
	n := t.killed + t.survived
	if n == 0 {
		return "nothing to change"
	}
	return fmt.Sprintf("%d of %d changes noticed, %.0f %%", t.killed, n, 100*float64(t.killed)/float64(n))
}

// try changes up to count lines of the package in dir.
func try(ctx context.Context, dir string, count int, r *rand.Rand, how tests, out io.Writer) (t tally, err error) {
	lines, err := mutations(dir)
	if err != nil {
		return t, err
	}
	work, err := os.MkdirTemp("", "mutate-")
	if err != nil {
		return t, err
	}
	defer os.RemoveAll(work)
	r.Shuffle(len(lines), func(i, j int) { lines[i], lines[j] = lines[j], lines[i] })
	for _, l := range lines {
		if t.killed+t.survived == count || ctx.Err() != nil {
			break
		}
		m := l[r.IntN(len(l))]
		switch verdict, err := test(ctx, dir, work, m, how); {
		case err != nil:
			return t, err
		case verdict == notCompiled:
		case verdict == killed:
			t.killed++
		default:
			t.survived++
			fmt.Fprintf(out, "not noticed: %s:%d: %s\n", m.file, m.line, m.what)
		}
	}
	return t, ctx.Err()
}

type verdict int

const (
	survived verdict = iota
	killed
	notCompiled
)

// test runs the package's tests on the source that m changes.
func test(ctx context.Context, dir, work string, m mutation, how tests) (verdict, error) {
	src, err := os.ReadFile(m.file)
	if err != nil {
		return survived, err
	}
	changed := filepath.Join(work, "changed.go")
	if err := os.WriteFile(changed, []byte(string(src[:m.from])+m.text+string(src[m.to:])), 0o600); err != nil {
		return survived, err
	}
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": {m.file: changed}})
	if err != nil {
		return survived, err
	}
	overlayFile := filepath.Join(work, "overlay.json")
	if err := os.WriteFile(overlayFile, overlay, 0o600); err != nil {
		return survived, err
	}
	// The test program ends itself: killing the go command would leave it running.
	ctx, stop := context.WithTimeout(ctx, how.limit+time.Minute)
	defer stop()
	cmd := exec.CommandContext(ctx, "go", "test", fmt.Sprintf("-short=%v", !how.long), "-count=1", "-vet=off", "-timeout", how.limit.String(), "-overlay", overlayFile, ".")
	cmd.Dir = dir
	text, err := cmd.CombinedOutput()
	switch {
	case err == nil:
		return survived, nil
	case strings.Contains(string(text), "[build failed]"):
		return notCompiled, nil
	}
	return killed, nil
}
