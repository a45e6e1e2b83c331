package timeserver

import (
	"net/netip"
	"time"

	"noonmark/clockcheck/timescale"
)

// How often one client may ask. RFC 4330 section 10 forbids clients to ask more
// often than every 15 s in the long run; programs that start ask some times in a
// row, and several on one machine share its address. The figures are our own.
const (
	every     = 2 * time.Second // on the long average
	burst     = 16              // questions in a row before that counts
	kissEvery = 8 * time.Second // RATE, at most, to one client
	// remembered clients are at most twice this: about 400 kB.
	remembered = 4096
)

// verdict on a question, as far as its sender goes.
type verdict int

const (
	serve verdict = iota
	kiss
	silence
)

// asker is what is remembered of a client.
type asker struct {
	// paid is the instant up to which its questions so far have used up the rate.
	paid   timescale.Local
	kissed timescale.Local
	warned bool
}

// limiter holds clients to a rate. It belongs to one goroutine and is a pure
// value: time is an argument. Of the clients, those that asked last are
// remembered: when the young are too many they become the old, and who is not
// heard again until the next time is forgotten.
type limiter struct {
	every      time.Duration
	burst      time.Duration
	young, old map[netip.Addr]asker
}

func newLimiter(l Limit) *limiter {
	if l == (Limit{}) {
		l = Limit{every, burst}
	}
	return &limiter{every: l.Every, burst: time.Duration(l.Burst) * l.Every,
		young: make(map[netip.Addr]asker, remembered), old: make(map[netip.Addr]asker, remembered)}
}

// ask judges one more question of a client at an instant.
func (l *limiter) ask(from netip.Addr, now timescale.Local) verdict {
	key := household(from)
	c, ok := l.young[key]
	if !ok {
		if c, ok = l.old[key]; !ok {
			c.paid = now
		}
		if len(l.young) >= remembered {
			clear(l.old)
			l.young, l.old = l.old, l.young
		}
	}
	v := c.ask(now, l.every, l.burst)
	l.young[key] = c
	return v
}

func (c *asker) ask(now timescale.Local, every, burst time.Duration) verdict {
	paid := max(c.paid, now).Add(every)
	if paid.Sub(now) <= burst {
		c.paid = paid
		return serve
	}
	if c.warned && now.Sub(c.kissed) < kissEvery {
		return silence
	}
	c.warned, c.kissed = true, now
	return kiss
}

// household is what counts as one client: an address, and of IPv6 the 64 bits of
// the network, for the rest is the client's to choose; but where everybody shares
// those (link-local), the address.
func household(a netip.Addr) netip.Addr {
	a = a.Unmap().WithZone("")
	if a.Is4() || a.IsLinkLocalUnicast() {
		return a
	}
	p, err := a.Prefix(64)
	if err != nil {
		return a
	}
	return p.Addr()
}
