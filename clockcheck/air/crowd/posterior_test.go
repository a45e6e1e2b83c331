package crowd

import (
	"math"
	"math/rand/v2"
	"testing"
)

// byModel is how likely each place is by the model as it is written, but for a constant: the logarithm of the sum over widths.
func byModel(x []float64, period, v float64) float64 {
	sum := math.Inf(-1)
	for _, b := range widths {
		l := 0.0
		for _, xi := range x {
			d := math.Abs(xi - v)
			l += math.Log(nearPart*math.Exp(-d/b)/(2*b) + farPart*math.Exp(-d*d/(2*farSigma*farSigma))/(farSigma*math.Sqrt(2*math.Pi)) + anyPart/period)
		}
		hi := math.Max(sum, l)
		sum = hi + math.Log(math.Exp(sum-hi)+math.Exp(l-hi))
	}
	return sum
}

// offsetsOf draws n stations, of which one in five is anywhere.
func offsetsOf(r *rand.Rand, n int) (x []float64) {
	for range n {
		v := 0.2 * r.NormFloat64()
		if r.Float64() < 0.2 {
			v = 14 * (r.Float64() - 0.5)
		}
		x = append(x, v)
	}
	return x
}

// The places are weighed by products that go on from place to place: they are those of the model, for
// as many stations as a band holds.
func TestPosteriorIsThatOfTheModel(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for k := range 20 {
		x := offsetsOf(r, 5+r.IntN(60))
		if k == 0 { // products of so many leave the range of the numbers
			x = make([]float64, 400)
		}
		at, p := posterior(x, 15)
		sum, want := 0.0, make([]float64, len(at))
		for i, v := range at {
			want[i] = math.Exp(byModel(x, 15, v) - byModel(x, 15, 0))
			sum += want[i]
		}
		for i := range p {
			if math.Abs(p[i]-want[i]/sum) > 1e-9 {
				t.Fatalf("%d stations, at %.3f s: %g, by the model %g", len(x), at[i], p[i], want[i]/sum)
			}
		}
	}
	if at, _ := posterior([]float64{0}, 15); at[0] != -reach || math.Abs(at[len(at)-1]-reach) > 1e-9 {
		t.Errorf("the places reach from %g to %g", at[0], at[len(at)-1])
	}
}

// BenchmarkPosterior: a band of twelve stations.
func BenchmarkPosterior(b *testing.B) {
	x := offsetsOf(rand.New(rand.NewPCG(1, 2)), 12)
	for b.Loop() {
		posterior(x, 15)
	}
}
