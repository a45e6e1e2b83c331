package main

import (
	"noonmark/clockcheck"
	"noonmark/clockcheck/banked"
	"noonmark/cmd/internal/lab"
	"noonmark/cmd/internal/station"
)

// judged says by which judge nights are judged.
type judged struct {
	Judge string `enum:"rules,bank" default:"rules" help:"Which judge: ${enum}."`
}

// by has the case judged by the one that was named.
func (j judged) by(c *lab.Case) *lab.Case {
	if c != nil && j.Judge == "bank" {
		c.Make = onBank
	}
	return c
}

// onBank makes the judge that stands on the bank of explanations.
func onBank(cfg clockcheck.Config, learned clockcheck.Learned) station.Judge {
	return banked.New(cfg, learned)
}
