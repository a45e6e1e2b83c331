package timeserver

import (
	"net/netip"
	"sync"
)

// heard remembers who was answered. Who is not heard again is forgotten in the end,
// as by a limiter.
type heard struct {
	mu         sync.Mutex
	young, old map[netip.Addr]struct{}
}

func (h *heard) note(who netip.Addr) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if _, ok := h.young[who]; ok {
		return
	}
	if h.young == nil || len(h.young) >= remembered {
		h.young, h.old = make(map[netip.Addr]struct{}), h.young
	}
	h.young[who] = struct{}{}
}

// Served tells whether a client at an address was answered since the start: it may
// have its time from here. False may also mean that it was long ago. It may be
// called from any goroutine.
func (s *Server) Served(a netip.Addr) bool {
	who := household(a)
	s.heard.mu.Lock()
	defer s.heard.mu.Unlock()
	_, young := s.heard.young[who]
	_, old := s.heard.old[who]
	return young || old
}
