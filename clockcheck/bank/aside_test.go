package bank

import (
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// missing lays each look against the guard: by how much that misses UTC at the worst, s, and in how many looks.
type missing struct {
	looks int
	worst float64
}

func (m *missing) look(b *Bank, utc float64) {
	lo, hi := span(b)
	if d := math.Max(lo-utc, utc-hi); d > 0 {
		m.looks++
		m.worst = math.Max(m.worst, d)
	}
}

// The receiver's line is 9.9 s behind for an hour, while the main crystal, a tuning fork, is carried into the
// cold and loses 30 ppm. When the line is free again the receiver is 0.1 s from where the oscillator has carried
// it: it may be right, and from then on the guard holds what it says.
func TestComesBackWhereTheCrystalWent(t *testing.T) {
	b, begin := settled()
	rng := rand.New(rand.NewPCG(1, 21))
	var missed missing
	for at := begin; at < begin+4*3600*second; at += 10 * second {
		gone := float64(at-begin) / 1e9
		utc := 1000 - 30e-6*gone
		behind := 0.0
		if gone < 3600 {
			behind = 9.9
		}
		r := look(at+second, utc-0.15-behind+rng.NormFloat64()*0.003, 0.003)
		r.Stream.LeadMost = 0
		b.Hear(r)
		if gone > 3600 {
			missed.look(b, utc)
		}
	}
	if missed.looks > 0 {
		t.Errorf("the guard missed UTC in %d looks, by up to %.3f s", missed.looks, missed.worst)
	}
}

// twoAccounts is a bank that goes on from a run in doubt: by the likelier account the receiver is false.
func twoAccounts() *Bank {
	b := newBank()
	b.Opened(Lateness{Mean: 0.15, Sigma: 0.02, Most: 1.2, Known: true})
	one := Account{Sigma: 0.012, Rate: 0, RateSigma: 0.5e-6, Lateness: 0.15, Stream: true, From: SetOf(Receiver), Told: 1, Rated: 1}
	two := one
	one.False, one.Off, two.Nats = true, 0.08, 1.6
	b.Resume(&Held{At: 1, Z: 1000e9, Dated: true, Doubts: []Doubted{{SetOf(Receiver), 0.5}}, Accounts: [MaxAccounts]Account{one, two}, Same: 0.1})
	return b
}

// A run doubted the receiver, and the next one goes on with both accounts. The receiver is right, and the crystal
// loses 20 ppm in the cold: who hears it is asked how it could go so far, though somebody else is likelier.
func TestHearerIsAskedWhereTheOscillatorWent(t *testing.T) {
	b := twoAccounts()
	rng := rand.New(rand.NewPCG(1, 18))
	for at := timescale.Local(1); at < 4*3600*second; at += 10 * second {
		utc := 1000 - 20e-6*float64(at)/1e9
		r := look(at+second, utc-0.15+rng.NormFloat64()*0.003, 0.003)
		r.Stream.LeadMost = 0
		b.Hear(r)
		x, lo, hi := float64(b.Best().F.Base)/1e9+b.Best().F.V[estimate.X], math.Inf(1), math.Inf(-1)
		for i := range b.Tracks() {
			if b.Alive(i) && b.Tracks()[i].streams() {
				_, l, h := b.Reach(i)
				lo, hi = math.Min(lo, x+l), math.Max(hi, x+h)
			}
		}
		if utc < lo || utc > hi {
			t.Fatalf("after %d s UTC is %.3f s, by those who hear the receiver %.3f to %.3f", at/second, utc, lo, hi)
		}
	}
	if b.Best().streams() {
		t.Error("the likeliest hears the receiver: nothing was shown")
	}
}

// What is kept of the oscillator's rate spans all that is still possible: else the next run would leave behind an
// account in which it moved.
func TestKeptRateSpansAll(t *testing.T) {
	b := twoAccounts()
	for at := timescale.Local(1); at < 2*3600*second; at += 10 * second {
		r := look(at+second, 1000-17e-6*float64(at)/1e9-0.15, 0.003)
		r.Stream.LeadMost = 0
		b.Hear(r)
	}
	all, n := b.Accounts(&Lateness{}, 0, false, 0)
	if n < 2 {
		t.Fatal("there are no two accounts")
	}
	moved := false
	for i := range b.Tracks() {
		if tr := &b.Tracks()[i]; b.Alive(i) {
			a := &all[0]
			for k := range all[:n] { // the two differ by whom they take to be false
				if all[k].False == tr.Out.Has(Receiver) {
					a = &all[k]
				}
			}
			y, s := tr.F.V[estimate.Y], tr.F.Sigma(estimate.Y)
			if d := math.Abs(y - a.Rate); d+wide*s > wide*a.RateSigma*(1+1e-9) {
				t.Errorf("a track goes by %.1f ± %.1f ppm (1σ), kept is %.1f ± %.1f", y*1e6, s*1e6, a.Rate*1e6, a.RateSigma*1e6)
			}
			moved = moved || math.Abs(y-a.Rate) > wide*s
			if d := math.Abs(y - b.Best().F.V[estimate.Y]); d+wide*s > wide*b.RateSigma()*(1+1e-9) {
				t.Errorf("a track goes by %.1f ppm, and the rate of all is kept to %.1f", y*1e6, b.RateSigma()*1e6)
			}
		}
	}
	if !moved {
		t.Error("no track has another rate")
	}
}
