package main

import (
	"encoding/json"
	"fmt"
	"io"

	"noonmark/cmd/internal/lab"
)

type nights struct {
	drawn
	Count uint64 `default:"300" help:"How many."`
	From  uint64 `default:"1" help:"First seed."`
	Show  int    `default:"5" help:"How many nights that went wrong are named."`
	JSON  bool   `name:"json" help:"Print JSON."`
}

func (n nights) Run(out io.Writer) error {
	if err := n.check(); err != nil {
		return err
	}
	var jobs []lab.Job
	for s := n.From; s < n.From+n.Count; s++ {
		jobs = append(jobs, lab.Job{Case: n.night(s), Seed: s})
	}
	all := lab.PlayAll(jobs, 0)
	if n.JSON {
		return n.json(out, all)
	}
	lab.Table(out, lab.Rows(all))
	fmt.Fprintln(out)
	lab.ModeTable(out, all)
	fmt.Fprintln(out)
	lab.CoverageTable(out, lab.Coverages(all))
	if n.Kinds == "new" {
		fmt.Fprintln(out)
		lab.KindTable(out, all)
	}
	lab.SeenTable(out, all)
	lab.Missed(out, all, n.Show)
	lab.Needless(out, all, n.Show)
	if bad := lab.Wrong(out, all, n.Show); bad > 0 {
		fmt.Fprintf(out, "%d nights went wrong; stationlab story --kinds %s --random SEED tells one\n", bad, n.Kinds)
		return errFell
	}
	return nil
}

// json prints one value and nothing beside it; that a night went wrong is told by the error.
func (n nights) json(out io.Writer, all []*lab.Night) error {
	if err := json.NewEncoder(out).Encode(map[string]any{"nights": lab.Rows(all), "coverage": lab.Coverages(all), "each": all}); err != nil {
		return err
	}
	if lab.Wrong(io.Discard, all, 0) > 0 {
		return errFell
	}
	return nil
}
