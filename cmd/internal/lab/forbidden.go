package lab

import (
	"fmt"
	"strings"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/banked"
	"noonmark/cmd/internal/station"
)

// Forbidden is a set of explanations that a night is judged without: bit a is assumption a.
type Forbidden uint32

// Explanations lists the explanations by the names that their prices have.
func Explanations() (names []string) {
	for _, p := range bank.Prices {
		names = append(names, p.Name)
	}
	return names
}

// Forbid is the set of the explanations named.
func Forbid(names ...string) (f Forbidden, err error) {
	for _, n := range names {
		a, ok := bank.Named(n)
		if !ok {
			return 0, fmt.Errorf("no explanation is called %q; there are %s", n, strings.Join(Explanations(), ", "))
		}
		f |= 1 << a
	}
	return f, nil
}

// judge makes the judge of a case, that of the service unless the case names another,
// without what is forbidden.
func (c *Case) judge(without Forbidden) station.MakeJudge {
	return func(cfg clockcheck.Config, learned clockcheck.Learned) *banked.Judge {
		var j *banked.Judge
		if c.Make != nil {
			j = c.Make(cfg, learned)
		} else {
			j = banked.New(cfg, learned)
		}
		for a := range bank.Prices {
			if without>>a&1 == 1 {
				j.Forbid(bank.Assumption(a))
			}
		}
		return j
	}
}
