package timeserver

import (
	"net/netip"
	"time"

	"noonmark/clockcheck/timescale"
)

// How often one client may ask. RFC 4330 section 10 forbids clients to ask more
// often than every 15 s in the long run; programs that start ask some times in a
// row, and several on one machine share its address. The figures are our own.
//
// A client is an address. Of IPv6 a device may take as many as it likes within the 64
// bits of its network, so that the network has a rate of its own beside it, wide enough
// for a camp of devices: networkShare times that of a client. It counts only questions
// that the client's own rate let through, so that one eager device costs the others
// nothing.
const (
	every     = 2 * time.Second // on the long average
	burst     = 16              // questions in a row before that counts
	kissEvery = 8 * time.Second // RATE, at most, to one client
	// A camp: 64 devices that each ask as often as they may.
	networkShare = 64
	// remembered clients, and networks, are at most twice this each: about 800 kB.
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
	every     time.Duration
	burst     time.Duration
	addresses askers
	networks  askers
}

// askers are what is remembered of clients.
type askers struct{ young, old map[netip.Addr]asker }

func newAskers() askers {
	return askers{make(map[netip.Addr]asker, remembered), make(map[netip.Addr]asker, remembered)}
}

func newLimiter(l Limit) *limiter {
	if l == (Limit{}) {
		l = Limit{every, burst}
	}
	return &limiter{every: l.Every, burst: time.Duration(l.Burst) * l.Every,
		addresses: newAskers(), networks: newAskers()}
}

// ask judges one more question of a client at an instant.
func (l *limiter) ask(from netip.Addr, now timescale.Local) verdict {
	from = from.Unmap().WithZone("")
	v := l.addresses.ask(from, now, l.every, l.burst)
	network, ok := network(from)
	if v != serve || !ok {
		return v
	}
	return l.networks.ask(network, now, l.every/networkShare, l.burst)
}

// ask judges by what is remembered under a key.
func (m *askers) ask(key netip.Addr, now timescale.Local, every, burst time.Duration) verdict {
	c, ok := m.young[key]
	if !ok {
		if c, ok = m.old[key]; !ok {
			c.paid = now
		}
		if len(m.young) >= remembered {
			clear(m.old)
			m.young, m.old = m.old, m.young
		}
	}
	v := c.ask(now, every, burst)
	m.young[key] = c
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

// network is the 64 bits of an IPv6 address that are not the device's to choose; false
// where there are none, or everybody shares them (link-local, the station itself).
func network(a netip.Addr) (netip.Addr, bool) {
	if !a.Is6() || a.Is4In6() || a.IsLinkLocalUnicast() || a.IsLoopback() {
		return a, false
	}
	p, err := a.WithZone("").Prefix(64)
	if err != nil {
		return a, false
	}
	return p.Addr(), true
}

// household is what counts as one device where devices are counted: its address, and of
// IPv6 the network.
func household(a netip.Addr) netip.Addr {
	a = a.Unmap().WithZone("")
	if n, ok := network(a); ok {
		return n
	}
	return a
}
