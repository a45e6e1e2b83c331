package station

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/banked"
	"noonmark/clockcheck/timescale"
)

// Judge is what a station asks of the judge of the clock. banked.Judge is it; tests and the
// laboratory put something around it.
type Judge interface {
	ReceiverOpened(key string, link clockcheck.Link)
	ReceiverNamed(key string)
	ReceiverLost(why string)
	GNSS(*clockcheck.GNSS)
	PPS(*clockcheck.PPS)
	PPSMissing(why string)
	RTC(*clockcheck.RTC)
	RTCMissing(why string)
	KernelWritesRTC(on bool)
	WroteRTC()
	Urgent() bool
	Temperature(*clockcheck.Temperature)
	Network(*clockcheck.Network)
	Mark(*clockcheck.Mark) bool
	Air(*clockcheck.Air) bool
	Segment(now timescale.Local)
	Resume(now timescale.Local)
	Steered(clockcheck.Steered)
	Stepped(by time.Duration)
	Judge(now timescale.Local, system timescale.UTC, dst *clockcheck.Judgement)
	Promise(*clockcheck.Judgement)
	Ahead(err, t float64) (ahead, guard float64)
	Hand(now timescale.Local) (clockcheck.Handed, bool)
	Learned() clockcheck.Learned
	Events(dst []clockcheck.Event) []clockcheck.Event
}

// MakeJudge makes a judge that knows what was learned before.
type MakeJudge func(clockcheck.Config, clockcheck.Learned) Judge

// judge makes the judge.
func (c *Config) judge(learned clockcheck.Learned) Judge {
	if c.MakeJudge != nil {
		return c.MakeJudge(c.Judge, learned)
	}
	return banked.New(c.Judge, learned)
}
