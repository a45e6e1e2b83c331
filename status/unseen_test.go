package status

import (
	"strings"
	"testing"
)

// Each state has the row of the README's table that applies, and no other.
func TestUnseen(t *testing.T) {
	ref := func(kind, trust string) Reference { return Reference{Name: kind, Kind: kind, Trust: trust} }
	gnss, rtc, pps, server := ref("gnss", "trusted"), ref("rtc", "trusted"), ref("pps", "trusted"), ref("network", "trusted")
	for _, tt := range []struct {
		name, basis, ancestry string
		refs                  []Reference
		want                  string // a word of it; "" = nothing
	}{
		{"a lone receiver", "gnss", "receiver", []Reference{gnss, rtc}, "first fix"},
		{"a lone receiver with its pulse", "pps", "receiver", []Reference{gnss, pps}, "first fix"},
		{"a receiver that a server once bore out", "gnss", "receiver server", []Reference{gnss, rtc, ref("network", "silent")}, "leads it away"},
		{"a receiver and a server", "gnss", "receiver server", []Reference{gnss, rtc, server}, ""},
		{"a doubted receiver and a server", "network", "server", []Reference{ref("gnss", "doubted"), server}, "one wrong clock"},
		{"servers", "network", "server", []Reference{ref("gnss", "warming"), server, server}, "one wrong clock"},
		{"a mark", "operator", "operator", []Reference{ref("operator", "trusted")}, "slip"},
		{"the air", "operator", "air", []Reference{ref("air", "trusted")}, "most stations"},
		{"the hardware clock at boot", "rtc", "receiver", []Reference{rtc}, "set it while"},
		{"holdover beside a hardware clock", "holdover", "receiver", []Reference{ref("gnss", "silent"), rtc}, ""},
		{"holdover alone", "holdover", "receiver", []Reference{ref("gnss", "silent"), ref("rtc", "silent")}, "15 ppm"},
		{"nothing", "none", "", nil, ""},
	} {
		s := Snapshot{References: tt.refs}
		s.Clock.Basis, s.Clock.Ancestry = tt.basis, strings.Fields(tt.ancestry)
		got := s.Unseen()
		if (got == "") != (tt.want == "") || !strings.Contains(got, tt.want) {
			t.Errorf("%s: %q, want something of %q", tt.name, got, tt.want)
		}
		if got != "" && !strings.Contains(strings.Join(strings.Fields(s.Why()), " "), got) {
			t.Errorf("%s: why does not say it", tt.name)
		}
	}
}
