package crowd

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// shownStep is in which steps programs show offsets, s, where the numbers do not say.
const shownStep = 0.1

// plain makes a number that Go reads of one that a person typed.
var plain = strings.NewReplacer(",", ".", "−", "-", "–", "-")

// ByHand makes one offset of those that an operator reads off for the others, in seconds,
// one for each station: "0.8", "+0.8", "0,8", "0.8s". Positive = they seem to come late =
// the clock that they were read off by is fast. mode is what the errors call the mode; its
// period is after how much an offset means the same again; doubt is by how much a
// punctual station may show another offset than 0.
func ByHand(typed []string, mode string, period, doubt time.Duration) (Offset, error) {
	half := period.Seconds() / 2
	var offsets []float64
	for _, w := range typed {
		v, err := strconv.ParseFloat(plain.Replace(strings.TrimSuffix(strings.TrimRight(w, ",;"), "s")), 64)
		if err != nil || math.IsNaN(v) || math.Abs(v) > half {
			return Offset{}, fmt.Errorf("%q is not an offset of %s in seconds, from %.1f to %.1f", w, mode, -half, half)
		}
		offsets = append(offsets, v)
	}
	o, err := Of(offsets, period.Seconds())
	if errors.Is(err, ErrFew) {
		return o, fmt.Errorf("%w: %d offsets, each of another station, where %d are the least and ten are better", ErrFew, len(offsets), Least)
	}
	if err != nil {
		return o, fmt.Errorf("%w: read more of them, or look for a mistyped sign", err)
	}
	o.BoundS += shownStep/2 + doubt.Seconds()
	return o, nil
}

// ReadWithin is how old offsets may be that were typed in, with room for the typing
// (assumption).
const ReadWithin = 3 * time.Minute

// AfterStep refuses offsets that may have been read off before a step of the clock, so long ago.
func AfterStep(ago time.Duration) error {
	if ago >= ReadWithin {
		return nil
	}
	return fmt.Errorf("the clock was stepped %.0f s ago: offsets read before that are of another clock. Wait %.0f s, read them again, and send those",
		ago.Seconds(), math.Ceil((ReadWithin - ago).Seconds()))
}
