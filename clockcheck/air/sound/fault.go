package sound

import "math"

const (
	leastSeconds = 4.0
	silentRMS    = 3.0 / 32768 // below three steps of 16 bits nothing can be told
	clipLevel    = 0.999
	clipShare    = 0.02
)

// Fault says in a sentence why nothing can be found in a piece; "" if something may.
func Fault(p Piece) string {
	if p.Seconds() < leastSeconds {
		return "The sound is too short."
	}
	sum, mean, clipped := 0.0, 0.0, 0
	for _, v := range p.Samples {
		x := float64(v)
		sum, mean = sum+x*x, mean+x
		if math.Abs(x) >= clipLevel {
			clipped++
		}
	}
	n := float64(len(p.Samples))
	mean /= n
	if math.Sqrt(math.Max(sum/n-mean*mean, 0)) < silentRMS {
		return "The sound is silence: check the radio's volume and the device."
	}
	if float64(clipped) > clipShare*n {
		return "The sound is clipped: turn the radio's volume or the device's level down."
	}
	return ""
}
