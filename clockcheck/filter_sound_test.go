package clockcheck

import (
	"math"
	"math/big"
	"testing"
)

// exact is the covariance of the filter in numbers of 200 bits.
type exact [nSt][nSt]*big.Float

func number200(v float64) *big.Float { return new(big.Float).SetPrec(200).SetFloat64(v) }

func exactOf(p *[nSt][nSt]float64) (e exact) {
	for i := range e {
		for k := range e {
			e[i][k] = number200(p[i][k])
		}
	}
	return e
}

func (e *exact) add(i, k int, v *big.Float) { e[i][k] = new(big.Float).Add(e[i][k], v) }

// advance is P ← Φ P Φᵀ + Q over a second.
func (e *exact) advance(f *filter) {
	for _, ab := range [][2]int{{sX, sY}, {sR, sS}} {
		for i := range e {
			e.add(ab[0], i, e[ab[1]][i])
		}
		for i := range e {
			e.add(i, ab[0], e[i][ab[1]])
		}
	}
	for _, q := range []struct {
		a, b   int
		q1, q2 float64
	}{{sX, sY, q1X, q2X}, {sR, sS, qR, f.qS}} {
		e.add(q.a, q.a, number200(q.q1+q.q2/3))
		e.add(q.a, q.b, number200(q.q2/2))
		e.add(q.b, q.a, number200(q.q2/2))
		e.add(q.b, q.b, number200(q.q2))
	}
	e.add(sD, sD, number200(f.qD))
}

// measure is P ← P − P h hᵀ P / (hᵀ P h + r) for h = x + sign·other.
func (e *exact) measure(other int, sign, r float64) {
	var ph [nSt]*big.Float
	times := func(a, b *big.Float) *big.Float { return new(big.Float).Mul(a, b) }
	for i := range ph {
		ph[i] = new(big.Float).Set(e[i][sX])
		if other != sNo {
			ph[i].Add(ph[i], times(number200(sign), e[i][other]))
		}
	}
	s := new(big.Float).Add(ph[sX], number200(r))
	if other != sNo {
		s.Add(s, times(number200(sign), ph[other]))
	}
	for i := range ph {
		for k := range ph {
			e.add(i, k, new(big.Float).Neg(new(big.Float).Quo(times(ph[i], ph[k]), s)))
		}
	}
}

// A pulse of a microsecond, or of a tenth of one, on an x that was known to a third of a
// second, beside sentences of 8 ms and an RTC: after hours the covariance is that of
// exact arithmetic to a thousandth, so that the plain form of the update will do.
func TestPreciseUpdatesAreSound(t *testing.T) {
	if testing.Short() {
		t.Skip("long, and without a goroutine that the race detector could watch")
	}
	for _, sigma := range []float64{1e-6, 1e-7} {
		f := filter{qS: qSPlain, qD: qD}
		f.forget(sY, 0, rateSigma)
		f.forget(sD, latencyMean, latencySigma)
		f.forget(sS, 0, 25e-6)
		f.start(0, sD, sq(jitterStart))
		f.attach(sR, 0.3, -1, sq(0.001))
		e := exactOf(&f.p)
		const seconds = 3 * 3600
		for n := range seconds {
			f.advance(f.at + 1e9)
			e.advance(&f)
			for _, m := range []struct {
				every   int
				other   int
				sign, r float64
			}{{1, sNo, 0, sq(sigma)}, {1, sD, -1, sq(0.008)}, {60, sR, 1, sq(0.001)}} {
				if n%m.every == 0 && (m.other != sNo || n < seconds/3 || n > seconds/2) { // the pulse fails for half an hour
					f.measure(0, m.other, m.sign, m.r)
					e.measure(m.other, m.sign, m.r)
				}
			}
			if n%600 == 0 || n == seconds-1 {
				same(t, n, &f, &e)
			}
		}
	}
}

// same compares variances, and correlations, and sees that there is no direction of
// negative variance.
func same(t *testing.T, n int, f *filter, e *exact) {
	t.Helper()
	var c [nSt][nSt]float64
	for i := range c {
		for k := range c {
			want, _ := e[i][k].Float64()
			vi, _ := e[i][i].Float64()
			vk, _ := e[k][k].Float64()
			if off := math.Abs(f.p[i][k]-want) / math.Sqrt(vi*vk); off > 1e-3 {
				t.Fatalf("after %d s: P[%d][%d] = %g, exactly %g: %.2g of the variances", n, i, k, f.p[i][k], want, off)
			}
			if f.p[i][k] != f.p[k][i] {
				t.Fatalf("after %d s: P[%d][%d] ≠ P[%d][%d]", n, i, k, k, i)
			}
			c[i][k] = f.p[i][k] / math.Sqrt(f.p[i][i]*f.p[k][k])
		}
	}
	for i := range c { // Cholesky
		for k := range i + 1 {
			sum := c[i][k]
			for m := range k {
				sum -= c[i][m] * c[k][m]
			}
			if i == k {
				if sum < -1e-9 {
					t.Fatalf("after %d s: a negative variance, %g of one", n, sum)
				}
				c[i][i] = math.Sqrt(math.Max(sum, 1e-18))
				continue
			}
			c[i][k] = sum / c[k][k]
		}
	}
}
