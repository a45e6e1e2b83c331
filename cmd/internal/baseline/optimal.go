package baseline

// optimal is the RMS error, s, of the Kalman filter that knows what nobody can
// know: the noise of this oscillator, of this receiver's arrival and of its
// wander, and the latency at the begin. States: UTC − local, its rate, and what
// the latency has wandered. boost multiplies the random walk of the rate, for
// the temperature, which is no noise.
func (t *trace) optimal(boost float64) float64 {
	q1, q2, qd := t.s.WhiteFM, t.s.WalkFM*boost, t.s.WanderS*t.s.WanderS/3600
	r := t.s.Jitter.variance()
	var v [3]float64
	var p [3][3]float64
	v[0], v[1] = t.claim(0), -t.learned
	p[0][0], p[1][1] = r, rateSigma*rateSigma
	var out rms
	for k := range t.arrival {
		if k > 0 {
			v[0] += v[1]
			for i := range p {
				p[0][i] += p[1][i]
			}
			for i := range p {
				p[i][0] += p[i][1]
			}
			p[0][0] += q1 + q2/3
			p[0][1] += q2 / 2
			p[1][0] += q2 / 2
			p[1][1] += q2
			p[2][2] += qd
		}
		if k >= warmS {
			out.add(v[0] - t.truth(k))
		}
		into := t.arrival[k].Sub(t.local[k]).Seconds()
		var ph [3]float64
		for i := range ph {
			ph[i] = p[i][0] - p[i][2]
		}
		s := ph[0] - ph[2] + r
		nu := t.claim(k) - v[1]*into - (v[0] - v[2])
		for i := range ph {
			v[i] += ph[i] / s * nu
		}
		for i := range ph {
			for m := range ph {
				p[i][m] -= ph[i] * ph[m] / s
			}
		}
	}
	return out.value()
}

// boosts tried.
var boosts = []float64{1, 3, 10, 30, 100, 300, 1000, 3000}
