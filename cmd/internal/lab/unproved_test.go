package lab

import (
	"strings"
	"testing"
)

// An evening too short to confirm the second leaves the hardware clock as unsure as the
// receiver was: to 18 s, the most that missing leap-second data make (GPS to UTC since
// 2017). The next evening, which may lack them too, is not less sure than the first.
func TestUnprovedEveningDoesNotWidenTheNext(t *testing.T) {
	c, err := Parse("x", strings.NewReader(`lasts 80 min
clock steered
system clock 90 ms fast
hardware clock plain, 5 ppm slow, error 300 ms fast, off for 24 h
receiver cold, latency 120 ms, first fix after 40 s
at 0:07 power off for 1 h
expect guard below 19 s from 0:03 to 0:07
expect guard below 19 s from 1:08:30
expect not proved second at 1:09
expect FT8 not within from 0:03 to 0:07
expect FT8 not within from 1:08 to 1:10
`))
	if err != nil {
		t.Fatal(err)
	}
	for seed := range uint64(2) {
		if n := c.Play(seed+1, 0, nil); !n.Good() {
			t.Errorf("seed %d: %+v", seed+1, n.Breaks)
		}
	}
}
