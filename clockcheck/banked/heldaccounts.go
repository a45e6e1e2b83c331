package banked

import (
	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/explain"
)

// accounts are those that the bank leaves open, about what is mid s from the best track's X; none where there is but one.
// late, apart and loose: see Accounts.
func (j *Judge) accounts(mid float64, late bank.Lateness, apart float64, loose bool) (out []clockcheck.HeldAccount) {
	all, n := j.bank.Accounts(&late, apart, loose, sameStream)
	for i := range all[:n] {
		if n == 1 {
			return nil
		}
		a := &all[i]
		out = append(out, clockcheck.HeldAccount{ReceiverFalse: a.False, DearerNats: a.Nats, OffS: a.Off - mid, SigmaS: a.Sigma, RoomLoS: a.Lo, RoomHiS: a.Hi,
			RatePPM: a.Rate * 1e6, RateSigmaPPM: a.RateSigma * 1e6, Ancestry: explain.Roots(nil, a.From), Confirmed: a.Told, Rated: a.Rated,
			Stream: a.Stream, LatenessS: a.Lateness, Another: a.Another, Leads: a.Leads, False: names(a.Out)})
	}
	return out
}

// accountsOf reads them back. What cannot be accounts is none: the hull of all stands beside it.
func accountsOf(kept []clockcheck.HeldAccount) (all [bank.MaxAccounts]bank.Account) {
	if len(kept) < 2 || len(kept) > len(all) {
		return all
	}
	for i := range kept {
		a := &kept[i]
		if a.SigmaS <= 0 || a.RateSigmaPPM <= 0 || a.DearerNats < 0 || a.RoomLoS > 0 || a.RoomHiS < 0 {
			return [bank.MaxAccounts]bank.Account{}
		}
		all[i] = bank.Account{Off: a.OffS, Sigma: a.SigmaS, Lo: a.RoomLoS, Hi: a.RoomHiS, Rate: a.RatePPM * 1e-6, RateSigma: a.RateSigmaPPM * 1e-6,
			False: a.ReceiverFalse, Stream: a.Stream, Lateness: a.LatenessS, Another: a.Another, Leads: a.Leads, Nats: a.DearerNats, From: setOf(a.Ancestry),
			Out: doubtedOf(a.False), Told: a.Confirmed, Rated: a.Rated}
	}
	return all
}
