package station

import (
	"noonmark/clockcheck"
	"noonmark/clockcheck/banked"
)

// MakeJudge makes a judge that knows what was learned before.
type MakeJudge func(clockcheck.Config, clockcheck.Learned) *banked.Judge

// judge makes the judge.
func (c *Config) judge(learned clockcheck.Learned) *banked.Judge {
	if c.MakeJudge != nil {
		return c.MakeJudge(c.Judge, learned)
	}
	return banked.New(c.Judge, learned)
}
