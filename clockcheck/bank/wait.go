package bank

import "math"

// pagesMost is how many pages anybody would wait for: 75 min (assumption).
const pagesMost = 6

// pagePrice is what a page of leap-second data costs who waits for it and has seen none,
// nats: it was missed by all of so many satellites. Pages that are missed one after the
// other have one cause: the first is dear, the next ones less so.
func (b *Bank) pagePrice(again bool, satellites int) float64 {
	a := PageMissed
	if again {
		a = PageAgain
	}
	price := b.nats[a]
	if !b.allowed(a) {
		return 2 * tooDear
	}
	return math.Min(price, -math.Log(satelliteMiss)*float64(max(satellites, 1)))
}

// Pages is how many pages of leap-second data more, of which nothing comes, prove the
// whole second: when all tracks in which the receiver is ahead have become too dear. 0 =
// it is proved, or nothing needs a page; −1 = however many, they do not prove it.
func (b *Bank) Pages(satellites int) int {
	if b.Proved().Second || !b.Best().Located {
		return 0
	}
	if b.Best().waits() { // then the page brings what is missing
		return 1
	}
	if !b.oneSecond(false) {
		return -1
	}
	out, wait, later := 0.0, 0.0, 0.0 // weights: of those left out already, and of those that wait, now and after a page
	for i := range b.tracks[:b.n] {
		switch t := &b.tracks[i]; {
		case t.waits():
			wait += b.weight[i]
			later += b.weight[i] * math.Exp(-b.pagePrice(t.missed, satellites))
		case i != b.best && !b.Alive(i):
			out += b.weight[i]
		}
	}
	for n := 1; n <= pagesMost; n++ {
		w := later * math.Exp(-float64(n-1)*b.pagePrice(true, satellites))
		if rest := 1 - wait + w; out+w <= Risk/2*rest {
			return n
		}
	}
	return -1
}

// stillLeads tells whether the receiver led when the track took it to be false, and has not
// moved by any whole second.
func (t *Track) stillLeads() bool {
	return t.Lead > 0 && t.Met && !t.hears(Receiver) && t.away != 0 && math.Abs(t.away) < 0.5
}

// waits tells whether the track waits for a page.
func (t *Track) waits() bool { return t.Lead > 0 && t.streams() }
