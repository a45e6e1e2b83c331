package main

import (
	"os"
	"testing"
	"time"

	"noonmark/status/page/pagetest"
)

func TestTmpShots(t *testing.T) {
	u := os.Getenv("TMPURL")
	if u == "" {
		t.Skip()
	}
	b := pagetest.Open(t)
	for _, s := range []struct {
		n    string
		w, h int64
		look string
		q    string
	}{{"phone-day", 360, 640, "", ""}, {"phone-night", 360, 640, "night", ""}, {"phone-contrast", 390, 844, "contrast", "?mode=FT4"}, {"desk-day", 1440, 900, "", ""}, {"desk-night", 1440, 900, "night", "?mode=FT4"}, {"huge", 2560, 1600, "", ""}, {"tablet", 820, 1180, "", ""}} {
		b.Size(s.w, s.h)
		b.Go(u + "look?look=" + s.look)
		b.Go(u + s.q)
		time.Sleep(1500 * time.Millisecond)
		b.Shot(s.n)
	}
}
