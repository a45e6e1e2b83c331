package banked

import "noonmark/clockcheck/bank"

// countStart keeps, once the second is proved, what a cold start of the receiver told: it
// was right from its first fix, or it led and stepped back.
func (j *Judge) countStart(p *bank.Proved) {
	t := j.bank.Best()
	if j.counted || !p.Second || !j.rx.Cold() || !j.named || !t.Met || t.Lead > 0 || t.Out.Has(bank.Receiver) || !t.On.Has(bank.Receiver) {
		return
	}
	j.counted = true
	s := j.rx.Starts
	led, all := false, t.Assumptions()
	for _, a := range all {
		led = led || a.What == bank.SecondMissing && a.Since >= j.rx.Began()
	}
	switch {
	case led:
		s.Led = true
	case len(all) < bank.MaxAssumed: // or the oldest have been forgotten
		s.Right++
	default:
		return
	}
	j.learned.KeepStarts(s)
}
