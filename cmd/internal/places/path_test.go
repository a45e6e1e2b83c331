package places

import (
	"encoding/json"
	"io"
	"strings"
	"testing"

	"noonmark/cmd/internal/around"
	"noonmark/cmd/internal/cli"
)

// path says how it read both ends, in text and in JSON, and rounds each ± up.
func TestPathSaysHowItRead(t *testing.T) {
	var out strings.Builder
	if _, err := Path(cli.Path{Words: []string{"JN58", "-20.13,-67.49"}}, nil, &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"To          48.500000, 11.000000 ± 93.35 km (locator;", "From        -20.130000, -67.490000 (latitude and longitude)\n"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is missing:\n%s", want, out.String())
		}
	}
	out.Reset()
	if _, err := Path(cli.Path{Words: []string{"JN58", "-20.13,-67.49"}, Output: cli.Output{JSON: true}}, nil, &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	var r struct{ To, From endReport }
	if err := json.Unmarshal([]byte(out.String()), &r); err != nil || r.To.ReadAs != "locator" || r.From.ReadAs != "degrees" || r.From.LatDeg != -20.13 || !(r.To.ReachM > 90_000) {
		t.Errorf("%+v, %v", r, err)
	}
	for m, want := range map[float64]string{0.01: "0.1 m", 999.91: "1.00 km", 1000.1: "1.01 km", 93_343.5: "93.35 km", 99_999: "100 km", 100_001: "101 km"} {
		if got := metresUp(m); got != want {
			t.Errorf("%v m: %s, want %s", m, got, want)
		}
	}
	for deg, want := range map[float64]string{1: "± 1.0°", 1.01: "± 1.1°", 9.95: "± 10°", 10.1: "± 11°", 180: "any direction"} {
		if got := around.PlusMinus(deg); got != want {
			t.Errorf("%v°: %s, want %s", deg, got, want)
		}
	}
}
