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
	sum, mean := 0.0, 0.0
	for _, v := range p.Samples {
		x := float64(v)
		sum, mean = sum+x*x, mean+x
	}
	n := float64(len(p.Samples))
	mean /= n
	if math.Sqrt(math.Max(sum/n-mean*mean, 0)) < silentRMS {
		return "The sound is silence: check the radio's volume and the device."
	}
	var c Clip
	c.Take(p.Samples)
	return c.Fault()
}

// Clip counts the samples at the end of their range, as they come from the device: resampled, they no longer show.
type Clip struct{ all, clipped int }

// Take counts some more.
func (c *Clip) Take(samples []float32) {
	c.all += len(samples)
	for _, v := range samples {
		if v >= clipLevel || v <= -clipLevel {
			c.clipped++
		}
	}
}

// Fault says in a sentence that the sound is clipped; "" if it is not.
func (c *Clip) Fault() string {
	if float64(c.clipped) > clipShare*float64(c.all) {
		return "The sound is clipped: turn the radio's volume or the device's level down."
	}
	return ""
}
