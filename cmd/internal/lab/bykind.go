package lab

import (
	"fmt"
	"io"
	"slices"
)

// falseS is how long it was falsely said to be within, over all modes, s.
func (n *Night) falseS() (t int) {
	for _, m := range n.Modes {
		t += m.False
	}
	return t
}

func (n *Night) declaredS() (t int) {
	for _, m := range n.Modes {
		t += m.Declared
	}
	return t
}

// KindTable prints, for each new kind, the nights that had it and what went wrong in them,
// the worst first. A night has several kinds: it counts for each.
func KindTable(w io.Writer, nights []*Night) {
	type sum struct {
		kind                                    string
		nights, wrong, falseS, missed, declared int
	}
	var all []sum
	for _, n := range nights {
		for _, k := range n.Kinds {
			i := slices.IndexFunc(all, func(s sum) bool { return s.kind == k })
			if i < 0 {
				i, all = len(all), append(all, sum{kind: k})
			}
			s := &all[i]
			s.nights++
			if !n.Good() {
				s.wrong++
			}
			s.falseS += n.falseS()
			s.missed += n.Missed
			s.declared += n.declaredS()
		}
	}
	slices.SortFunc(all, func(a, b sum) int {
		// By the share of nights that went wrong, in ten thousandths.
		return b.wrong*10000/b.nights - a.wrong*10000/a.nights
	})
	fmt.Fprintf(w, "%-26s %7s %7s %10s %10s %11s\n", "kind", "nights", "wrong", "false s", "missed s", "declared s")
	for _, s := range all {
		fmt.Fprintf(w, "%-26s %7d %7d %10d %10d %11d\n", s.kind, s.nights, s.wrong, s.falseS, s.missed, s.declared)
	}
	classes := map[int]int{}
	for _, n := range nights {
		for c, s := range n.Classes {
			classes[c] += s
		}
	}
	for _, c := range Classes {
		if s := classes[c.Number]; s > 0 {
			fmt.Fprintf(w, "declared class %d, %d s of false within: %s\n", c.Number, s, c.What)
		}
	}
}

// Wrong prints a line for each night that went wrong.
func Wrong(w io.Writer, nights []*Night, most int) (wrong int) {
	for _, n := range nights {
		if n.Good() {
			continue
		}
		if wrong++; wrong > most {
			continue
		}
		fmt.Fprintf(w, "seed %d:", n.Seed)
		for _, m := range n.Modes {
			fmt.Fprintf(w, " %s false %d s;", m.Mode, m.False)
		}
		fmt.Fprintf(w, " guard missed %d s", n.Missed)
		if len(n.Kinds) > 0 {
			fmt.Fprintf(w, "; kinds %q", n.Kinds)
		}
		fmt.Fprintln(w)
	}
	return wrong
}
