package station

import (
	"testing"

	"noonmark/gnss"
)

func TestFirsts(t *testing.T) {
	var f firstSentence
	take := func(addr string) bool {
		var e gnss.Epoch
		copy(e.FirstType[:], addr)
		return f.usual(&e)
	}
	for i := range 5 {
		if !take("GPRMC") || !take("GPGSV") {
			t.Fatalf("epoch %d: refused before anything is usual", i)
		}
	}
	for range 30 {
		if !take("GPRMC") {
			t.Fatal("the usual first sentence was refused")
		}
	}
	for range 10 {
		if take("GPGGA") {
			t.Fatal("a burst that has lost its first sentence was taken")
		}
		if !take("GPRMC") {
			t.Fatal("the usual first sentence was refused after one that was not")
		}
	}
	for range 100 { // the receiver was told to send something else first
		take("GNZDA")
	}
	if !take("GNZDA") || take("GPRMC") {
		t.Error("a new first sentence is never believed")
	}
}
