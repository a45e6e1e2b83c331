package world

import (
	"math"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/gnss"
	"noonmark/gnss/gnsstest"
	"noonmark/rtc/rtctest"
)

// The laws of the world itself: what is true in it whatever the judge says. Each is
// written from the definition of the thing, not from the judge's model of it.

// eventful is a story in which everything happens that could move a clock.
func eventful() Scenario {
	s, _ := Named("camp")
	s.Osc, s.Length, s.OffFor = Oscillator{PPM: 12}, 70*time.Minute, time.Hour
	slew, none := 80.0, 0.0
	s.Story = []Chapter{
		{Scene: open},
		{From: 5 * time.Minute, Scene: open, Step: 2 * time.Second},
		{From: 10 * time.Minute, Scene: open, Slew: &slew},
		{From: 20 * time.Minute, Scene: open, Slew: &none},
		{From: 25 * time.Minute, Scene: open, Turn: 40 * time.Millisecond},
		{From: 50 * time.Minute, Scene: open, Down: 10 * time.Second},
		{From: 55 * time.Minute, Scene: open, Down: 40 * time.Second, Stopped: true},
		{From: 60 * time.Minute, Scene: open, Down: 3 * time.Second, Forget: true},
	}
	return s
}

// A free system clock gains what the local timescale gains, and what others do to it.
func TestSystemClockIsTheLocalTimescale(t *testing.T) {
	w := New(eventful(), config(), 1)
	moved := 0.0 // by others, ns
	system, local := w.system, w.local
	start := w.utc
	for w.Elapsed() < w.s.Length {
		before, slew, utc := w.local, w.slewPPM, w.utc
		chapter := w.chapter
		w.Second()
		if w.chapter != chapter {
			moved += float64(w.s.Story[w.chapter].Step + w.s.Story[w.chapter].Turn)
			slew = w.slewPPM // it took its new value at the begin of the second
		}
		moved += float64(w.local.Sub(before)) * slew * 1e-6
		want := system + float64(w.local.Sub(local)) - float64(w.utc.Sub(start)) + moved
		if off := w.system - want; math.Abs(off) > 5e3 {
			t.Fatalf("at %v (%v for one second) the system clock is %.0f ns off", w.Elapsed(), w.utc.Sub(utc), off)
		}
	}
}

// A steered one gains the local timescale's, its frequency word's, and at most 500 µs a
// second of a turn (MAX_TICKADJ of Linux), but for steps. A restart of the program is
// nothing to it: once ten seconds without the program cost it all the time since boot.
func TestSteeredClockIsTheLocalTimescale(t *testing.T) {
	s := eventful()
	w := New(s, steered("rtc-some"), 1)
	for w.Elapsed() < s.Length {
		local, k := w.local, w.kernel
		clock, ppm, steps := k.System(local), k.Kernel(local).FreqPPM, k.Steps
		w.Second()
		if w.kernel != k {
			t.Fatalf("at %v the kernel is another one: the machine did not boot", w.Elapsed())
		}
		if k.Steps != steps {
			continue
		}
		passed := w.local.Sub(local).Seconds()
		gained := k.System(w.local).Sub(clock).Seconds() - passed*(1+ppm*1e-6)
		if math.Abs(gained) > (501e-6+200e-6)*passed { // 200 ppm: another program's word for a part of the second
			t.Fatalf("at %v the system clock gained %.6f s in %.6f s", w.Elapsed(), gained, passed)
		}
	}
}

// The local timescale is true time at the oscillator's rate, through restarts of the
// program; it stands while the machine sleeps, and begins again at boot.
func TestLocalTimescale(t *testing.T) {
	s := eventful()
	s.Story = append(s.Story, Chapter{From: 62 * time.Minute, Scene: open, Sleep: 3 * time.Minute})
	s.Length = 80 * time.Minute
	w := New(s, config(), 1)
	for w.Elapsed() < s.Length {
		w.Second()
		awake := w.Elapsed() - w.asleep
		want := timescale.Local(bootTime).Add(awake + time.Duration(float64(awake)*12e-6))
		if off := w.local.Sub(want); off.Abs() > 10 {
			t.Fatalf("at %v the local timescale is %v off", w.Elapsed(), off)
		}
	}
	if w.asleep != 3*time.Minute {
		t.Errorf("asleep for %v", w.asleep)
	}
	w.off(&Chapter{Off: time.Hour})
	if w.local != timescale.Local(bootTime) || w.asleep != 0 {
		t.Errorf("after boot %v, asleep %v", w.local, w.asleep)
	}
}

// arrival is one epoch as a perfect clock would see it.
type arrival struct {
	late  float64 // arrival of the first byte − the second it names, s
	at    time.Duration
	valid bool
	types gnss.Types
}

// arrivals plays a story with a perfect oscillator and collects the epochs.
func arrivals(s Scenario) (out []arrival) {
	s.Osc, s.NoRTC, s.Learned = Oscillator{}, true, false
	w := New(s, config(), 7)
	w.Station.OnEpoch(func(e *gnss.Epoch) {
		if !e.HasTime {
			return
		}
		at := w.start.Add(e.Arrival.Sub(timescale.Local(bootTime)))
		day := int64(at) % (86400 * timescale.Second)
		out = append(out, arrival{math.Remainder((time.Duration(day) - e.TimeOfDay).Seconds(), 86400), at.Sub(w.start), e.Valid, e.Types})
	})
	for w.Elapsed() < s.Length {
		w.Second()
	}
	return out
}

// How late the first byte of an epoch comes after the second that it names follows from
// the model of receiver and link alone.
func TestArrivals(t *testing.T) {
	cases := []struct {
		name     string
		set      func(*Scenario)
		from     time.Duration // what comes before is not looked at
		low, top float64       // of the mean lateness of valid epochs, s
		most     float64       // no epoch is later
	}{
		{"plain", func(*Scenario) {}, 0, 0.115, 0.135, 0.3},
		{"previous second", func(s *Scenario) { s.Receiver.PreviousSecond = true }, 0, 1.115, 1.135, 1.3},
		{"next second", func(s *Scenario) { s.Receiver.NextSecond, s.Receiver.Latency.Mean = true, 940*time.Millisecond }, 0, -0.07, -0.05, 0.1},
		{"behind", func(s *Scenario) { s.Link.Behind = 8 * time.Second }, 20 * time.Second, 8.11, 8.14, 8.3},
		{"two hours behind", func(s *Scenario) {
			s.Link.Behind, s.Length = 2*time.Hour, 2*time.Hour+5*time.Minute
		}, 0, 7200.1, 7200.2, 7200.3},
		{"adapter's timer", func(s *Scenario) { s.Link.Grain = 16 * time.Millisecond }, 0, 0.122, 0.145, 0.3},
		{"busy", func(s *Scenario) { s.Link.Busy = 3 * time.Second }, 0, 0.15, 0.7, 3.5},
		{"by satellites", func(s *Scenario) { s.Receiver.Latency.PerSatellite = 20 * time.Millisecond }, 0, 0.25, 0.28, 0.5},
		{"bad sky", func(s *Scenario) {
			s.Receiver.Latency.Poor, s.Story[0].Scene.Satellites = 300*time.Millisecond, 4
		}, 0, 0.35, 0.55, 4},
		{"leap data missing", func(s *Scenario) {
			s.Receiver = cold(gnsstest.Typical())
			s.Receiver.LeapMissing, s.Length = 3, 12*time.Minute
		}, 0, -2.89, -2.86, -2.5},
		{"leap data there, restarted cold", func(s *Scenario) {
			again := true
			s.Receiver.LeapMissing = 3
			s.Story = append(s.Story, Chapter{From: 2 * time.Minute, Scene: open, Restart: &again})
		}, 3 * time.Minute, -2.89, -2.86, -2.5},
		{"leap data there, restarted warm", func(s *Scenario) {
			again := false
			s.Receiver.LeapMissing = 3
			s.Story = append(s.Story, Chapter{From: 2 * time.Minute, Scene: open, Restart: &again})
		}, 3 * time.Minute, 0.115, 0.135, 0.3},
		{"burst split", func(s *Scenario) { s.Receiver.PauseAfter, s.Receiver.Pause = 1, 40*time.Millisecond }, 0, 0.115, 0.135, 0.3},
		{"off the second", func(s *Scenario) { s.Receiver.Phase, s.Receiver.PhasePPM = 226*time.Millisecond, 139 }, 0, 0.115, 0.135, 0.3},
		{"an hour old", func(s *Scenario) { s.Story[0].Scene.FalseTime = -time.Hour }, 0, 3600.11, 3600.14, 3600.3},
		{"latency set again", func(s *Scenario) {
			s.Story = append(s.Story, Chapter{From: time.Minute, Scene: open,
				Change: []func(*gnsstest.Model){func(m *gnsstest.Model) { m.Latency.Mean = 400 * time.Millisecond }}})
		}, 2 * time.Minute, 0.395, 0.415, 0.6},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s := Scenario{Receiver: gnsstest.Typical(), Length: 6 * time.Minute, Place: camp, Story: []Chapter{{Scene: open}}}
			c.set(&s)
			sum, n := 0.0, 0
			for _, a := range arrivals(s) {
				if a.at < c.from || !a.valid {
					continue
				}
				sum, n = sum+a.late, n+1
				if a.late > c.most {
					t.Errorf("at %v it came %.3f s after the second named", a.at, a.late)
				}
			}
			if mean := sum / float64(n); n < 60 || mean < c.low || mean > c.top {
				t.Errorf("%d epochs, on average %.4f s late, not %.3f to %.3f", n, mean, c.low, c.top)
			}
		})
	}
}

// What the receiver says of itself.
func TestWhatReceiversSay(t *testing.T) {
	base := Scenario{Receiver: gnsstest.Typical(), Length: 8 * time.Minute, Place: camp, Story: []Chapter{{Scene: open}}}
	share := func(all []arrival, f func(arrival) bool) float64 {
		n := 0
		for _, a := range all {
			if f(a) {
				n++
			}
		}
		return float64(n) / float64(len(all))
	}
	void := func(a arrival) bool { return !a.valid }

	s := base
	s.Story = []Chapter{{Scene: open}, {From: 2 * time.Minute, Scene: open, Void: 48 * time.Second}}
	if v := share(arrivals(s), void); v < 0.09 || v > 0.13 {
		t.Errorf("void for 48 s of 8 min, and at the start: %.3f of the epochs", v)
	}
	s = base
	s.Story = []Chapter{{Scene: gnsstest.Scene{Satellites: 11, Blink: 0.2}}}
	if v := share(arrivals(s), void); v < 0.15 || v > 0.27 {
		t.Errorf("one epoch in five blinks: %.3f", v)
	}
	s = base
	s.Receiver.RepeatsFor = time.Minute
	s.Story = []Chapter{{Scene: open}, {From: 4 * time.Minute, Scene: gnsstest.Scene{Satellites: 1}}}
	old := share(arrivals(s), func(a arrival) bool { return a.valid && a.late > 1 })
	if old < 0.06 || old > 0.14 { // the decoder takes some of them together
		t.Errorf("a minute of eight says the last epoch again: %.3f", old)
	}
	s = base
	s.Receiver.Estimates, s.Receiver.EstimatesUnsaid = time.Minute, true
	s.Story = []Chapter{{Scene: open}, {From: 4 * time.Minute, Scene: gnsstest.Scene{Satellites: 1}}}
	if v := share(arrivals(s), void); v < 0.35 || v > 0.40 {
		t.Errorf("valid for a minute after the loss, at half: %.3f void", v)
	}
	s = base
	s.Story = []Chapter{{Scene: open}, {From: 4 * time.Minute, Scene: open, Change: []func(*gnsstest.Model){func(m *gnsstest.Model) {
		m.RateHz, m.Baud, m.Sentences = 5, 38400, []string{"GGA", "RMC"}
	}}}}
	if all := arrivals(s); len(all) < 1300 || len(all) > 1460 {
		t.Errorf("four minutes at 1 Hz and four at 5 Hz: %d epochs", len(all))
	}
}

// An honest server's answer lies within its bound, over any way there and back; a portal
// answers in the place of all, with one error.
func TestServersKeepTheirBound(t *testing.T) {
	s := Scenario{Receiver: gnsstest.Typical(), NoReceiver: true, NoRTC: true, Story: []Chapter{{}}}
	w := New(s, config(), 3)
	w.servers = []Server{{Name: "a", Bound: 20 * time.Millisecond, Error: 12 * time.Millisecond, ID: [4]byte{192, 0, 2, 1}},
		{Name: "b", Bound: 50 * time.Millisecond, Error: -20 * time.Millisecond, ID: [4]byte{192, 0, 2, 2}}}
	ways := []Way{{}, {Delay: 600 * time.Millisecond, Queue: 200 * time.Millisecond, There: 0.9}, {Delay: 40 * time.Millisecond, There: 0.1}}
	for _, w.way = range ways {
		for range 500 {
			for _, s := range w.servers {
				r, ok := w.says(s)
				if off := r.UTC.Sub(w.utc); ok && (off.Abs() > r.Bound || r.Bound >= time.Second) {
					t.Fatalf("%s over %+v: %v wrong, bound %v", r.Server, w.way, off, r.Bound)
				}
			}
		}
	}
	w.way, w.portal = Way{}, &Server{Error: -40 * time.Second, Bound: 10 * time.Millisecond, Follows: [4]byte{10, 0, 0, 1}, Stratum: 3}
	for _, s := range w.servers {
		r, _ := w.says(s)
		if off := r.UTC.Sub(w.utc) + 40*time.Second; off.Abs() > 10*time.Millisecond || r.Follows != w.portal.Follows {
			t.Errorf("behind a portal: %+v", r)
		}
	}
}

// Temperatures go where they are told, without a leap, and the crystal after them: its
// rate by definition of its coefficients.
func TestCrystalFollowsWarmth(t *testing.T) {
	s, _ := Named("camp")
	s.Osc = Oscillator{PPM: 3, CurvePPM: -0.035, TempPPM: 0.2, CubicPPM: 1e-4}
	s.Transmitter = &Transmitter{HeatC: 6, Over: 5 * time.Minute, On: 10 * time.Hour, Off: time.Second, PushPPM: 0.1}
	w := New(s, config(), 1)
	last := w.airAt(w.utc)
	w.weather(&Chapter{Air: &TempMove{ToC: -30, Over: 4 * time.Minute}, OscJump: 7})
	for i := range 3600 {
		now := w.airAt(w.utc.Add(time.Duration(i) * time.Second))
		if math.Abs(now-last) > 0.25 {
			t.Fatalf("in one second from %.2f to %.2f °C", last, now)
		}
		last = now
	}
	if math.Abs(last+30) > 0.1 {
		t.Errorf("after an hour %.2f °C", last)
	}
	w.to(w.utc.Add(time.Hour))
	if math.Abs(w.duty.heat-6) > 0.01 || !w.duty.sends {
		t.Errorf("on the air for an hour: %+v", w.duty)
	}
	dt := -30 + 6 - 25.0
	if want := 3 + 7 + 0.1 + 0.2*dt - 0.035*dt*dt + 1e-4*dt*dt*dt; math.Abs(w.rate()-want) > 0.05 {
		t.Errorf("the rate is %.3f ppm, by its coefficients %.3f", w.rate(), want)
	}
}

// The hardware clock of the world feels the same air, and stands still in the cold.
func TestHardwareClockStopsInTheCold(t *testing.T) {
	s, _ := Named("camp")
	s.RTC, s.OffFor, s.RTCError = rtctest.Model{StopsBelowC: -20}, time.Hour, 0
	w := New(s, config(), 1)
	w.weather(&Chapter{Air: &TempMove{ToC: -30, Over: time.Second}})
	w.pass(2 * time.Hour)
	w.weather(&Chapter{Air: &TempMove{Usual: true, Over: time.Second}})
	w.pass(time.Hour)
	shows, ok := w.shows()
	if lost := w.utc.Sub(shows); !ok || (lost-2*time.Hour).Abs() > 2*time.Minute {
		t.Errorf("it stood still for two hours and lost %v (%v)", lost, ok)
	}
}
