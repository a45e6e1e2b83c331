package banked

import (
	"fmt"
	"testing"
	"time"

	"noonmark/clockcheck"
)

// Servers are heard over one link that is nearly all one way, and one of them is false. That they
// contradict one another gives none of them a way of its own: by RFC 5905 (section 8) the delays there and back put
// each up to half of the round trip off, all to the same side. The guard holds UTC.
func TestAFalseServerMakesNoSecondWay(t *testing.T) {
	for _, n := range []int{3, 7} {
		for _, side := range []float64{1, -1} {
			for _, lie := range []time.Duration{-5 * time.Second, 400 * time.Millisecond, -400 * time.Millisecond} {
				t.Run(fmt.Sprintf("%d honest ones, %+.0f, lie %v", n, side, lie), func(t *testing.T) {
					w := newWorld(t, clockcheck.Learned{})
					w.mute = true
					var all []clockcheck.Network
					var off []time.Duration
					for i := range n + 1 {
						all = append(all, clockcheck.Network{Server: fmt.Sprint(i), Bound: 160 * time.Millisecond,
							Upstream: clockcheck.Upstream{ID: id(byte(i + 1)), Port: 123, Follows: id(byte(100 + i)), Stratum: 2}})
						off = append(off, time.Duration(side*150)*time.Millisecond)
					}
					off[n] = lie
					w.run(time.Second)
					for range 10 {
						for i := range all {
							all[i].At, all[i].UTC = w.local, w.utc.Add(off[i])
							w.j.Network(&all[i])
							w.run(2 * time.Second)
						}
						w.run(time.Minute)
					}
					w.honest()
				})
			}
		}
	}
}

// A restart between two answers over a long link does not make anybody have told the rate.
func TestRestartBesideARoughServer(t *testing.T) {
	w := comparedWorld(t)
	w.mute = true
	w.run(2 * time.Hour)
	far := clockcheck.Network{Server: "far", At: w.local, UTC: w.utc.Add(100 * time.Millisecond), Bound: 160 * time.Millisecond}
	w.j.Network(&far)
	w.run(time.Minute)
	was := w.j.bank.Rated()
	if silent := w.local.Sub(was); silent < time.Hour {
		t.Fatalf("the rate was told %v ago, by a rough server", silent)
	}
	w.restart(false, false)
	w.run(2 * time.Second)
	if now := w.j.bank.Rated(); now != was {
		t.Errorf("after the restart the rate has been told %v later", now.Sub(was))
	}
}
