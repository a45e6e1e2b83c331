package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/banked"
	"noonmark/cmd/internal/lab"
	"noonmark/status"
)

// refusals plays nights and says which explanation refused while the clock was inside the
// tolerance.
type refusals struct {
	drawn
	Count uint64   `default:"20" help:"How many."`
	From  uint64   `default:"1" help:"First seed."`
	Show  int      `default:"15" help:"How many causes are named for each mode."`
	Seeds []uint64 `help:"These nights instead."`
}

// cause is an explanation that refused, in a mode.
type cause struct{ mode, what string }

// tally sums what one cause refused.
type tally struct {
	s      int     // seconds
	half   float64 // sum of the half-widths that it made, s
	weight float64 // sum of its weights
	nights int
	most   int    // seconds in one night
	first  string // … and where that begins
}

func (c refusals) Run(out io.Writer) error {
	if err := c.check(); err != nil {
		return err
	}
	all := map[cause]*tally{}
	if len(c.Seeds) == 0 {
		for s := c.From; s < c.From+c.Count; s++ {
			c.Seeds = append(c.Seeds, s)
		}
	}
	var nights []*lab.Night
	for _, seed := range c.Seeds {
		night, refused := tellRefusals(c.night(seed), seed)
		nights = append(nights, night)
		for k, t := range refused {
			a := all[k]
			if a == nil {
				a = &tally{}
				all[k] = a
			}
			if a.s, a.half, a.weight, a.nights = a.s+t.s, a.half+t.half, a.weight+t.weight, a.nights+1; t.s > a.most {
				a.most, a.first = t.s, t.first
			}
		}
	}
	c.print(out, all)
	fmt.Fprintln(out)
	lab.ModeTable(out, nights)
	for _, n := range nights {
		if !n.Good() {
			fmt.Fprintf(out, "seed %d went wrong: %+v, guard missed %d s\n", n.Seed, n.Modes, n.Missed)
		}
	}
	return nil
}

// tellRefusals plays one night and sums what is refused while the truth is inside the
// tolerance.
func tellRefusals(c *lab.Case, seed uint64) (*lab.Night, map[cause]*tally) {
	sum := map[cause]*tally{}
	var judge *banked.Judge
	c.Make = func(cfg clockcheck.Config, learned clockcheck.Learned) *banked.Judge {
		judge = banked.New(cfg, learned)
		return judge
	}
	played := c.Play(seed, 0, func(at time.Duration, truth float64, s *status.Snapshot) {
		for _, m := range s.Modes {
			if m.Verdict == status.Within || math.Abs(truth) > m.ToleranceS {
				continue
			}
			r := refuser(judge, s, m.ToleranceS)
			k := cause{m.Mode, r.what}
			t := sum[k]
			if t == nil {
				t = &tally{first: fmt.Sprintf("seed %d at %s", seed, at.Truncate(time.Second))}
				sum[k] = t
			}
			t.s++
			t.half += r.half
			t.weight += r.weight
		}
	})
	return played, sum
}

// print names the largest causes of each mode.
func (c refusals) print(out io.Writer, all map[cause]*tally) {
	keys := make([]cause, 0, len(all))
	total := map[string]int{}
	for k, t := range all {
		keys = append(keys, k)
		total[k.mode] += t.s
	}
	slices.SortFunc(keys, func(a, b cause) int {
		return cmp.Or(cmp.Compare(a.mode, b.mode), cmp.Compare(all[b].s, all[a].s), cmp.Compare(a.what, b.what))
	})
	n, mode := 0, ""
	for _, k := range keys {
		if k.mode != mode {
			mode, n = k.mode, 0
			fmt.Fprintf(out, "%s: refused for %.1f h while the clock was inside\n%9s %7s %10s %8s  %s\n", mode, float64(total[mode])/3600, "hours", "nights", "half-width", "weight", "the likeliest explanation that refuses")
		}
		if n++; n > c.Show {
			continue
		}
		t := all[k]
		s := float64(t.s)
		fmt.Fprintf(out, "%9.2f %7d %8.3f s %8.2g  %s (%s)\n", s/3600, t.nights, t.half/s, t.weight/s, k.what, t.first)
	}
}
