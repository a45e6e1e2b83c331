package banked

import (
	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/explain"
)

// heldAccounts are the two that a doubt of the receiver leaves, about what is mid s from the best
// track's X; none where there is no such doubt.
func (j *Judge) heldAccounts(mid float64) (out []clockcheck.HeldAccount) {
	two, ok := j.bank.Accounts(!j.bank.Proved().Second, sameStream)
	if !ok {
		return nil
	}
	for i := range two {
		a := &two[i]
		out = append(out, clockcheck.HeldAccount{ReceiverFalse: a.False, DearerNats: a.Nats, OffS: a.Off - mid, SigmaS: a.Sigma, RoomLoS: a.Lo, RoomHiS: a.Hi,
			RatePPM: a.Rate * 1e6, RateSigmaPPM: a.RateSigma * 1e6, Ancestry: explain.Roots(nil, a.From), Confirmed: a.Told, Rated: a.Rated,
			Stream: a.Stream, LatenessS: a.Lateness})
	}
	return out
}

// accountsOf reads them back. What cannot be two accounts is none: the hull of both stands beside it.
func accountsOf(h *clockcheck.Held, back *bank.Held) {
	if len(h.Accounts) != len(back.Two) || h.Accounts[0].ReceiverFalse == h.Accounts[1].ReceiverFalse {
		return
	}
	var two [2]bank.Account
	for i := range h.Accounts {
		a := &h.Accounts[i]
		if a.SigmaS <= 0 || a.RateSigmaPPM <= 0 || a.DearerNats < 0 || a.RoomLoS > 0 || a.RoomHiS < 0 {
			return
		}
		two[i] = bank.Account{Off: a.OffS, Sigma: a.SigmaS, Lo: a.RoomLoS, Hi: a.RoomHiS, Rate: a.RatePPM * 1e-6, RateSigma: a.RateSigmaPPM * 1e-6,
			False: a.ReceiverFalse, Stream: a.Stream, Lateness: a.LatenessS, Nats: a.DearerNats, From: setOf(a.Ancestry), Told: a.Confirmed, Rated: a.Rated}
	}
	back.Two, back.Same = two, sameStream
}
