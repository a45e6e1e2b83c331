package around

import (
	"testing"
	"time"
)

// A place without a good compass, a day without a model, and headings that turn over north.
func TestCompass(t *testing.T) {
	at := time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
	c := CompassAt(-20.13, -67.49, at)
	if deg, ok := c.Heading(355); !ok || deg < 4 || deg > 5 || c.Use != "good" {
		t.Errorf("%v, %v, %+v", deg, ok, c)
	}
	c = CompassAt(-64, 136, at)
	if deg, ok := c.Heading(10); ok || c.Use != "none" {
		t.Errorf("%v, %+v", deg, c)
	}
	if c = CompassAt(-20.13, -67.49, time.Date(2030, 1, 1, 0, 0, 0, 0, time.UTC)); c != nil {
		t.Errorf("%+v", c)
	}
	if _, ok := c.Heading(10); ok {
		t.Error("a heading without a model")
	}
	if CompassAt(-20.13, -67.49, time.Date(2029, 12, 31, 23, 59, 59, 0, time.UTC)) == nil {
		t.Error("no model on its last day")
	}
}

func TestPlusMinus(t *testing.T) {
	for deg, want := range map[float64]string{0.01: "± 0.1°", 9.8: "± 9.8°", 9.81: "± 9.9°", 9.95: "± 10°", 49.2: "± 50°", 180: "any direction"} {
		if got := PlusMinus(deg); got != want {
			t.Errorf("%v: %s, want %s", deg, got, want)
		}
	}
}
