package grid

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

// Law: what the quick reader takes, the full reader reads in the same way; the
// texts that programs write are taken.
func TestPlainPairAgrees(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringMatching(`[-+]?[0-9]{0,4}(\.[0-9]{0,11})?[, ] ?[-+]?[0-9]{0,4}(\.[0-9]{0,11})?[ SW°]?`).Draw(t, "text")
		p, ok := plainPair(s)
		if !ok {
			return
		}
		if full, err := parseLatLon(s); err != nil || full != placeAt(p) {
			t.Errorf("%q: %v, by the full reader %+v, %v", s, p, full, err)
		}
	})
	rapid.Check(t, func(t *rapid.T) {
		want := drawPoint(t)
		want.lat -= want.lat % unitsPerE9
		want.lon -= want.lon % unitsPerE9
		s := fixed(want.lat, 9) + "," + fixed(want.lon, 9)
		if got, ok := plainPair(s); !ok || got != want {
			t.Errorf("%s: %v, %v; want %v", s, got, ok, want)
		}
	})
	for _, s := range []string{"", "1", "1,", ",1", "1,2,3", "91,0", "0,181", "1., 2", "1,  2", "1 2", "1e5,2", "-,1", "1,-", "0000,1", "1.0000000001,2"} {
		if p, ok := plainPair(s); ok {
			t.Errorf("%q is %v", s, p)
		}
	}
}

func BenchmarkParsePlace(b *testing.B) {
	for _, s := range []string{"-20.13,-67.49", "FG69gu18", "20°07.8'S 67°29.4'W", "19K 657838 7773417", "19KFT5783773416"} {
		b.Run(fmt.Sprintf("%.3s", s), func(b *testing.B) {
			for b.Loop() {
				ParsePlace(s)
			}
		})
	}
}
