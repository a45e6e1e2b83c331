package gnsstest

import (
	"bytes"
	"math"
	"math/rand/v2"
	"time"

	"noonmark/clockcheck/timescale"
)

// Receiver is a simulated receiver. Make one with New.
type Receiver struct {
	m   Model
	rng *rand.Rand

	last    timescale.UTC // the second before
	on      bool
	warm    bool          // this start was, or the next will be, with what the battery kept
	powered timescale.UTC // since when
	seen    timescale.UTC // since when enough satellites are in view, 0 = not now
	need    time.Duration // from then to a fix
	fixed   bool          // has had a fix since power-on
	tracked time.Duration // unbroken, with a fix
	leap    bool          // knows the leap seconds
	own     ownClock
	lost    timescale.UTC // the last second with a fix
	drag    time.Duration

	walk   time.Duration // of the latency
	north  gaussMarkov
	east   gaussMarkov
	up     gaussMarkov
	sats   []satellite
	inView []satellite // room for view
	place  Place
	speed  float64 // knots
	head   float64 // degrees

	free  timescale.UTC // when the wire is free again
	again []byte        // the last epoch, for a stuck clock
	held  []byte
}

// ownClock is the receiver's own oscillator: offset from true time at an instant.
type ownClock struct {
	at     timescale.UTC
	offset time.Duration
}

// gaussMarkov is an error that wanders: unit sd, correlated over corrTime.
type gaussMarkov float64

const corrTime = 300 // s; estimate: position errors of a still receiver wander over minutes

func (g *gaussMarkov) step(rng *rand.Rand) {
	a := math.Exp(-1.0 / corrTime)
	*g = gaussMarkov(a*float64(*g) + math.Sqrt(1-a*a)*rng.NormFloat64())
}

// New returns a receiver without power; the first Emit gives it power.
func New(m Model, seed uint64) *Receiver {
	r := &Receiver{m: m.withDefaults(), warm: m.Warm, rng: rand.New(rand.NewPCG(seed, 0x676e73732d746573))}
	for _, g := range []*gaussMarkov{&r.north, &r.east, &r.up} {
		*g = gaussMarkov(r.rng.NormFloat64())
	}
	r.sats = newSky(r.rng, r.m.Talker != "GN")
	return r
}

// Emit returns what the receiver sends for the epochs of one whole second of
// true UTC. Seconds must follow each other; a gap is time without power. A burst
// may begin up to half a second before the second, where the receiver's own idea
// of the second does, and long after it at too low a speed.
func (r *Receiver) Emit(second timescale.UTC, place Place, s Scene) []Burst {
	follows := r.last != 0 && second.Sub(r.last) == time.Second
	r.last = second
	if s.Unplugged {
		r.on, r.warm, r.held = false, r.m.Warm, nil
		return nil
	}
	if !follows {
		r.on, r.warm = false, r.m.Warm
	}
	if !r.on {
		r.powerUp(second)
	}
	r.move(place, follows)
	r.look(second, s)

	var out []Burst
	if len(r.held) > 0 && !s.Held {
		out = append(out, Burst{At: max(second, r.free), Bytes: r.held})
		r.free = max(second, r.free)
		r.held = nil
	}
	for k := range r.m.RateHz {
		b := r.epoch(second.Add(r.phase(second)+time.Duration(k)*time.Second/time.Duration(r.m.RateHz)), k == 0, s)
		switch {
		case len(b.Bytes) == 0:
		case s.Held:
			r.held = append(r.held, b.Bytes...)
			r.held = r.held[max(0, len(r.held)-maxHeld):]
		default:
			out = r.paused(out, b)
		}
	}
	return out
}

// phase is how long after the second the epochs are.
func (r *Receiver) phase(second timescale.UTC) time.Duration {
	if r.m.PhasePPM == 0 {
		return r.m.Phase
	}
	p := (r.m.Phase + time.Duration(float64(second.Sub(r.powered))*r.m.PhasePPM*1e-6)) % time.Second
	return (p + time.Second) % time.Second
}

// paused appends a burst, in two where the model rests within it.
func (r *Receiver) paused(out []Burst, b Burst) []Burst {
	cut := 0
	for n := r.m.PauseAfter; n > 0 && cut < len(b.Bytes); n-- {
		cut += bytes.IndexByte(b.Bytes[cut:], '\n') + 1
	}
	if r.m.PauseAfter == 0 || cut == 0 || cut >= len(b.Bytes) {
		return append(out, b)
	}
	rest := Burst{At: b.At.Add(time.Duration(cut)*b.PerByte + r.m.Pause), PerByte: b.PerByte, Bytes: b.Bytes[cut:]}
	r.free = r.free.Add(r.m.Pause)
	return append(out, Burst{At: b.At, PerByte: b.PerByte, Bytes: b.Bytes[:cut]}, rest)
}

// Restart takes the power away for a moment, and with it, if cold, all that the battery
// kept. The next Emit gives it power again.
func (r *Receiver) Restart(cold bool) { r.on, r.warm, r.held = false, r.m.Warm && !cold, nil }

// Reconfigure changes what kind of receiver it is while it runs: its rate, its sentences,
// its latency. Whoever has its commands can.
func (r *Receiver) Reconfigure(change func(*Model)) {
	change(&r.m)
	r.m = r.m.withDefaults()
}

// powerUp starts the receiver afresh, or with what its battery kept.
func (r *Receiver) powerUp(at timescale.UTC) {
	r.on, r.powered, r.seen, r.tracked, r.again = true, at, 0, 0, nil
	if r.own.at == 0 || !r.warm {
		r.own = ownClock{at, r.m.OwnError}
	}
	r.fixed = false
	r.leap = r.warm
	r.walk = 0
	if r.m.Latency.Restart != 0 {
		r.walk = time.Duration(float64(r.m.Latency.Restart) * r.rng.NormFloat64())
	}
	r.free = at
}

// move takes the antenna to place.
func (r *Receiver) move(place Place, follows bool) {
	const mPerDeg, mPerKnot = 111_195, 0.514444
	r.speed, r.head = 0, 0
	if follows {
		dn := (place.LatDeg - r.place.LatDeg) * mPerDeg
		de := math.Remainder(place.LonDeg-r.place.LonDeg, 360) * mPerDeg * math.Cos(place.LatDeg*math.Pi/180)
		r.speed = math.Min(math.Hypot(dn, de)/mPerKnot, 999)
		r.head = math.Mod(math.Atan2(de, dn)*180/math.Pi+360, 360)
	}
	r.place = place
}

// look advances everything that goes by the second.
func (r *Receiver) look(second timescale.UTC, s Scene) {
	for _, g := range []*gaussMarkov{&r.north, &r.east, &r.up} {
		g.step(r.rng)
	}
	r.walk += time.Duration(float64(r.m.Latency.Wander) * r.rng.NormFloat64() / 60) // 60 = √3600
	r.drag += s.FalseDrag
	if s.FalseTime == 0 && s.FalseDrag == 0 {
		r.drag = 0
	}
	if s.Satellites < 3 {
		r.seen, r.tracked = 0, 0
		return
	}
	if r.seen == 0 {
		r.seen = second
		switch {
		case r.fixed:
			r.need = r.m.Reacquire
		case r.warm:
			r.need = r.m.WarmFix
		default:
			r.need = r.m.ColdFix
		}
	}
	if second.Sub(r.seen) < r.need {
		return
	}
	r.fixed = true
	r.tracked = second.Sub(r.seen) - r.need
	if r.tracked >= r.m.AlmanacAfter {
		r.leap = true
	}
	r.own, r.lost = ownClock{second, r.satelliteOffset(s)}, second
}
