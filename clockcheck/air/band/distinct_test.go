package band

import (
	"math"
	"testing"
)

func TestDistinct(t *testing.T) {
	m := named(t, "FT8")
	loud := Signal{BeginS: 1, FreqHz: 1500, SNRdB: 20, Plain: true}
	for _, tt := range []struct {
		name string
		more []Signal
		want int
	}{
		{"not plain", []Signal{{BeginS: 1.4, FreqHz: 900, SNRdB: -5}}, 1},
		{"same place", []Signal{{BeginS: 1.4, FreqHz: 1509, SNRdB: 10, Plain: true}}, 1},
		{"sidebands of hum", []Signal{{BeginS: 1.01, FreqHz: 1600, SNRdB: -8, Plain: true}, {BeginS: 1.01, FreqHz: 1401, SNRdB: -6, Plain: true}}, 1},
		{"another station", []Signal{{BeginS: 1.01, FreqHz: 1600, SNRdB: 5, Plain: true}, {BeginS: 1.01, FreqHz: 1400, SNRdB: 5, Plain: true}}, 3},
		{"weak, at another time", []Signal{{BeginS: 1.2, FreqHz: 1600, SNRdB: -8, Plain: true}, {BeginS: 1.01, FreqHz: 1400, SNRdB: -8, Plain: true}}, 3},
	} {
		if got := len(Distinct(append(tt.more, loud), m)); got != tt.want {
			t.Errorf("%s: %d, want %d", tt.name, got, tt.want)
		}
	}
}

// TestPeak: the vertex of a parabola between the steps; where its wings do not fit, the highest step.
func TestPeak(t *testing.T) {
	for _, row := range []struct{ vertex, want float64 }{{30.4, 30.4}, {24.9, 24.9}, {30, 30}, {2.3, 2}, {57.8, 58}} {
		x := make([]float64, 60)
		for i := range x {
			x[i] = 5 - (float64(i)-row.vertex)*(float64(i)-row.vertex)/100
		}
		if got := peak(x, 8); math.Abs(got-row.want) > 1e-6 {
			t.Errorf("vertex %.1f: %.4f, want %.1f", row.vertex, got, row.want)
		}
	}
}
