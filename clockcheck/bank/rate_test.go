package bank

import (
	"math"
	"math/rand/v2"
	"testing"

	"noonmark/clockcheck/estimate"
	"noonmark/clockcheck/timescale"
)

// unseenFor is the time in which a move of the oscillator comes to w unseen, by the equation of
// stepSince: never shorter, and longer by a thousandth at most.
func TestUnseenForIsTheInverse(t *testing.T) {
	b := newBank()
	for _, w := range []float64{1e-4, 1e-3, 0.01, 0.05, 0.2, 1} {
		at := b.unseenFor(w)
		if d := b.stepSince(at); d < w*(1-1e-9) || b.stepSince(at*0.999) > w {
			t.Errorf("after %.0f s a move may have come to %.6f s unseen, want %.6f", at, d, w)
		}
	}
	if b.unseenFor(0) != 0 {
		t.Error("a word without an error leaves a move open")
	}
	b.Forbid(OscillatorMoved)
	if b.unseenFor(1) != 0 {
		t.Error("an oscillator that never moves was not seen")
	}
}

// settled is a bank that has heard a receiver 0.15 s late and a close server for two hours, until at;
// UTC − local is 1000 s.
func settled() (b *Bank, at timescale.Local) {
	b = newBank()
	b.Opened(Lateness{Mean: 0.15, Sigma: 0.02, Most: 1.2, Known: true})
	for ; at < 7200*second; at += 10 * second {
		r := look(at+second, 1000-0.15, 0.01)
		r.Stream.LeadMost = 0
		b.Hear(r)
		if at%(1024*second) < 10*second {
			b.Hear(server(Server, at+2*second, 1000, 0.005))
		}
	}
	return b, at
}

// The receiver falls silent, and the oscillator moves by 20 ppm. Two hours later a server
// answers over a path that is nearly all one way: delay 0.3 s there and back, so its time is off by 0.14 s, which
// its bound of 0.15 s allows (RFC 5905 section 11.2). The move is as large, and hidden.
func TestRoughAnswerHidesAMove(t *testing.T) {
	for _, c := range []struct {
		name  string
		by    float64 // s: the server's error
		bound float64
		move  float64 // s/s: of the oscillator
		tells bool    // the rate
	}{
		{"one way there", 0.14, 0.15, 20e-6, false},
		{"one way back", -0.14, 0.15, 20e-6, false},
		{"a close server", 0.002, 0.005, 7e-6, true},
	} {
		b, at := settled()
		before := b.unseen(0)
		utc := 1000.0
		for k := range 3 { // a server is asked quickly at first
			now := at + 7200*second + timescale.Local(k)*17*second
			utc = 1000 - c.move*float64(now-at)/1e9*0.95
			if k == 0 {
				b.Advance(now)
				before = b.unseen(0)
			}
			b.Hear(server(Server+1, now, utc+c.by, shareForTest*c.bound))
			if lo, hi := span(b); utc < lo || utc > hi {
				t.Errorf("%s, answer %d: UTC from %.3f to %.3f s, it is %.3f", c.name, k, lo, hi, utc)
			}
		}
		if after := b.unseen(0); (after < before/2) != c.tells {
			t.Errorf("%s: a move of %.3f s may be unseen after the answers, before %.3f: tells the rate: want %v", c.name, after, before, c.tells)
		}
	}
}

// shareForTest is the σ of a server's answer as a share of its bound (package server).
const shareForTest = 0.4

// The oscillator changes its rate by 19 ppm beside a receiver whose lateness is known, which
// looks as if the lateness went away. A close server tells UTC after an hour, and leaves. The guard
// holds UTC all along: by the track whose oscillator moved, the oscillator goes on so.
func TestMovedOscillatorGoesOn(t *testing.T) {
	b, begin := settled()
	rng, missed := rand.New(rand.NewPCG(1, 19)), 0
	var worst float64
	for at := begin; at < begin+4*3600*second; at += 10 * second {
		gone := float64(at-begin) / 1e9
		utc := 1000 - 19e-6*gone
		r := look(at+second, utc-0.15+rng.NormFloat64()*0.003, 0.003)
		r.Stream.LeadMost = 0
		b.Hear(r)
		if gone >= 3600 && gone < 3660 {
			b.Hear(server(Server, at+2*second, utc-0.004, shareForTest*0.01))
		}
		lo, hi := span(b)
		if d := math.Max(lo-utc, utc-hi); d > 0 {
			missed++
			worst = math.Max(worst, d)
		}
	}
	if missed > 0 {
		t.Errorf("the guard missed UTC in %d looks of %d, by up to %.3f s", missed, 4*360, worst)
	}
	for i := range b.Tracks() {
		if tr := &b.Tracks()[i]; tr.Assumes(OscillatorMoved) && !tr.Latent {
			if y := tr.F.V[estimate.Y]; math.Abs(y+19e-6) > 3e-6 {
				t.Errorf("by the track whose oscillator moved it goes by %.1f ppm, want -19", y*1e6)
			}
			return
		}
	}
	t.Error("no track has the oscillator move")
}

// A server's answer sits at an edge of its root distance, over a way that is nearly all one way, and
// what was known before is off to the same side, by 3.6 of its σ. With s² = σ² of the server by
// that of what was known, UTC is then 3.6·s + 2.5·(1 − s²) of the server's σ off, 2.5 + 3.6²/10 = 3.80
// at most: less than the 3.89 that Risk leaves outside. So an edge needs no density of its own.
func TestEdgeOfARootDistance(t *testing.T) {
	for s := 0.05; s < 1; s += 0.05 {
		const sigma, off = 0.06, 3.6
		b := newBank()
		b.Hear(server(Server, second, 1000+off*sigma/s, sigma/s))
		b.Hear(server(Server+1, 2*second, 1000+sigma/shareForTest, sigma))
		if lo, hi := span(b); lo > 1000 || hi < 1000 {
			t.Errorf("s = %.2f: UTC from %.3f to %.3f s, it is 1000", s, lo, hi)
		}
	}
}
