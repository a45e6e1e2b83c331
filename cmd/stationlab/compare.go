package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"

	"noonmark/cmd/internal/lab"
)

// compare plays the same nights by both judges.
type compare struct {
	Count uint64 `default:"40" help:"How many."`
	both
	Show int `default:"10" help:"How many nights that differ most are named."`
}

// both is which nights are played by both judges.
type both struct {
	From  uint64 `default:"1" help:"First seed."`
	Kinds string `enum:"old,new" default:"old" help:"Kinds of nights: ${enum}."`
	Only  string `placeholder:"KIND" help:"A new kind that each night must have."`
}

// by is the same nights by one judge.
func (c both) by(judge string) (drawn, error) {
	d := drawn{judged{judge}, c.Kinds, c.Only}
	return d, d.check()
}

// differs is how much longer one judge said within than the other, s over all modes.
type differs struct {
	seed uint64
	s    int
}

func (c compare) Run(out io.Writer) error {
	var by [2][]*lab.Night
	for i, judge := range []string{"rules", "bank"} {
		d, err := c.by(judge)
		if err != nil {
			return err
		}
		var jobs []lab.Job
		for s := c.From; s < c.From+c.Count; s++ {
			jobs = append(jobs, lab.Job{Case: d.night(s), Seed: s})
		}
		by[i] = lab.PlayAll(jobs, 0)
		fmt.Fprintf(out, "by the %s:\n", judge)
		lab.Table(out, lab.Rows(by[i]))
		fmt.Fprintln(out)
		lab.ModeTable(out, by[i])
		fmt.Fprintln(out)
	}
	c.apart(out, by)
	return nil
}

// apart names the nights in which the judges differ most, and each that went wrong.
func (c compare) apart(out io.Writer, by [2][]*lab.Night) {
	var most []differs
	for i, n := range by[0] {
		d := 0
		for k := range n.Modes {
			d += by[1][i].Modes[k].Within - n.Modes[k].Within
		}
		most = append(most, differs{n.Seed, d})
		for k, judge := range []string{"rules", "bank"} {
			if w := by[k][i]; !w.Good() {
				fmt.Fprintf(out, "seed %d went wrong by the %s: %+v, guard missed %d s\n", w.Seed, judge, w.Modes, w.Missed)
			}
		}
	}
	sortBySize(most)
	for _, d := range most[:min(c.Show, len(most))] {
		fmt.Fprintf(out, "seed %d: the bank says within %+d s, summed over the modes\n", d.seed, d.s)
	}
}

// sortBySize puts the largest difference first.
func sortBySize(d []differs) {
	slices.SortFunc(d, func(a, b differs) int { return cmp.Compare(max(b.s, -b.s), max(a.s, -a.s)) })
}
