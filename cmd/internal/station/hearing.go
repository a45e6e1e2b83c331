package station

import (
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/banked"
	"noonmark/clockcheck/timescale"
)

// What the judge that counts hears, those beside it hear as well.

func (w *withdrawable) ReceiverOpened(key string, link clockcheck.Link) {
	w.all(func(j *banked.Judge) { j.ReceiverOpened(key, link) })
}
func (w *withdrawable) ReceiverNamed(key string) {
	w.all(func(j *banked.Judge) { j.ReceiverNamed(key) })
}
func (w *withdrawable) ReceiverLost(why string)     { w.all(func(j *banked.Judge) { j.ReceiverLost(why) }) }
func (w *withdrawable) GNSS(r *clockcheck.GNSS)     { w.all(func(j *banked.Judge) { c := *r; j.GNSS(&c) }) }
func (w *withdrawable) PPS(r *clockcheck.PPS)       { w.all(func(j *banked.Judge) { c := *r; j.PPS(&c) }) }
func (w *withdrawable) PPSMissing(why string)       { w.all(func(j *banked.Judge) { j.PPSMissing(why) }) }
func (w *withdrawable) RTC(r *clockcheck.RTC)       { w.all(func(j *banked.Judge) { c := *r; j.RTC(&c) }) }
func (w *withdrawable) RTCMissing(why string)       { w.all(func(j *banked.Judge) { j.RTCMissing(why) }) }
func (w *withdrawable) Segment(now timescale.Local) { w.all(func(j *banked.Judge) { j.Segment(now) }) }
func (w *withdrawable) Resume(now timescale.Local)  { w.all(func(j *banked.Judge) { j.Resume(now) }) }
func (w *withdrawable) Steered(s clockcheck.Steered) {
	w.all(func(j *banked.Judge) { j.Steered(s) })
}
func (w *withdrawable) Stepped(by time.Duration) { w.all(func(j *banked.Judge) { j.Stepped(by) }) }
func (w *withdrawable) Temperature(r *clockcheck.Temperature) {
	w.all(func(j *banked.Judge) { c := *r; j.Temperature(&c) })
}
func (w *withdrawable) Network(r *clockcheck.Network) {
	w.all(func(j *banked.Judge) { c := *r; j.Network(&c) })
}

// Air takes what was heard. Whether it could be placed is for the judge that counts to say.
func (w *withdrawable) Air(r *clockcheck.Air) bool {
	for _, a := range w.beside {
		c := *r
		a.judge.Air(&c)
	}
	return w.counts.Air(r)
}

func (w *withdrawable) Ahead(err, t float64) (ahead, guard float64) { return w.counts.Ahead(err, t) }

func (w *withdrawable) Hand(now timescale.Local) (clockcheck.Handed, bool) { return w.counts.Hand(now) }

func (w *withdrawable) Events(dst []clockcheck.Event) []clockcheck.Event { return w.counts.Events(dst) }

func (w *withdrawable) Promise(dst *clockcheck.Judgement) { w.counts.Promise(dst) }
