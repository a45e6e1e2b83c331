package timeserver

import (
	"net/netip"
	"testing"
)

func TestServedIsRememberedAndBounded(t *testing.T) {
	s := New(nil, Limit{})
	phone := netip.MustParseAddr("192.0.2.7")
	if s.Served(phone) {
		t.Error("somebody was served before the first question")
	}
	s.heard.note(household(phone))
	if !s.Served(phone) || !s.Served(netip.MustParseAddr("::ffff:192.0.2.7")) || s.Served(netip.MustParseAddr("192.0.2.8")) {
		t.Error("not who was served")
	}
	for i := range 3 * remembered {
		s.heard.note(netip.AddrFrom4([4]byte{10, byte(i >> 16), byte(i >> 8), byte(i)}))
	}
	if n := len(s.heard.young) + len(s.heard.old); n > 2*remembered {
		t.Errorf("%d clients are remembered", n)
	}
	if s.Served(phone) {
		t.Error("nobody is ever forgotten")
	}
}
