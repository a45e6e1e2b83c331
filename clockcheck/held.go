package clockcheck

import (
	"math"
	"slices"

	"noonmark/clockcheck/timescale"
)

// Held is what was known of UTC − local when a run of the program ended. The local
// timescale does not stop with the program: where it has run on since, in the same boot
// and without a sleep, the next run goes on from there as through a silence.
type Held struct {
	BootID       string          `json:"boot_id"`  // of the station's
	AsleepS      float64         `json:"asleep_s"` // likewise: time slept since the boot
	At           timescale.Local `json:"at_local_ns"`
	OffsetNS     int64           `json:"offset_ns"` // UTC − local at At
	SigmaS       float64         `json:"sigma_s"`
	RatePPM      float64         `json:"rate_ppm"` // UTC gains on the local timescale
	RateSigmaPPM float64         `json:"rate_sigma_ppm"`
	DateProved   bool            `json:"date_proved"`
	SecLo        int             `json:"second_lo"` // whole-second hypotheses not ruled out
	SecHi        int             `json:"second_hi"`
	SecAlone     bool            `json:"second_alone"` // the receiver alone speaks for the second
	Ancestry     []string        `json:"ancestry"`
	Confirmed    timescale.Local `json:"confirmed_local_ns"` // the newest reading that took part
	// How late the receiver's stream was against the estimate, s, if Stream. The estimate
	// may be far less well known, where nobody proved that latency.
	Stream    bool    `json:"stream"`
	LatenessS float64 `json:"lateness_s"`
	// Doubted names whom some explanation still took to be false (package banked only).
	Doubted []string `json:"doubted,omitempty"`
	// … and how dear those explanations were together, nats; 0 = as likely as not.
	DoubtNats float64 `json:"doubt_nats,omitempty"`
	// Where UTC lies, s later than OffsetNS has it, as an unproved latency leaves it; both 0
	// where there is none such.
	RoomLoS float64 `json:"room_lo_s,omitempty"`
	RoomHiS float64 `json:"room_hi_s,omitempty"`
	// Who said something else, and whether the receiver had left its own stream: then its
	// run proves nothing.
	Doubts  []HeldDoubt `json:"doubts,omitempty"`
	NoProof bool        `json:"no_proof,omitempty"`
}

// sameStream: a stream that is as late as that of the run before, s.
const sameStream = 0.1

// HeldDoubt is a reference that said something else when the run ended, and was not
// outvoted: where it would have UTC be, s later than OffsetNS has it.
type HeldDoubt struct {
	Kind string          `json:"kind"`           // receiver, rtc, mark, server
	Name string          `json:"name,omitempty"` // of a server, of the air
	Slot int             `json:"slot,omitempty"` // of a mark
	At   timescale.Local `json:"at_local_ns"`
	LoS  float64         `json:"lo_s"`
	HiS  float64         `json:"hi_s"`
}

const (
	heldReceiver = "receiver"
	heldRTC      = "rtc"
	heldMark     = "mark"
	heldServer   = "server"
)

// hold is what is worth taking up again, with its doubts: a restart decides nothing.
func (j *Judge) hold() *Held {
	if !j.x.known {
		return nil
	}
	// The views of led part by so much, and those of the watch: either may be right.
	sigma := math.Max(math.Sqrt(j.f.p[sX][sX]+j.common(latencyFloor)), j.hull()) + math.Abs(j.view.difference) + math.Abs(j.watch.offset)
	if j.pps.opposes { // nobody takes a pulse up again before it is numbered anew
		sigma = math.Max(sigma, j.pps.claim.half()/guardZ)
	}
	stream := j.rx.link.steady() && j.rx.attached && j.rx.leapsMissing == 0 && (j.rx.fault == fNone || j.rx.fault == fScatter)
	room, _ := j.roomFor(0, guardZ)
	return &Held{RoomLoS: room.lo, RoomHiS: room.hi, Stream: stream, LatenessS: j.f.v[sD], At: j.f.at, OffsetNS: j.f.base + int64(j.f.v[sX]*1e9), SigmaS: sigma,
		RatePPM: j.f.v[sY] * 1e6, RateSigmaPPM: j.f.sigma(sY) * 1e6, DateProved: j.x.dateProved,
		SecLo: j.x.secLo, SecHi: j.x.secHi, SecAlone: j.x.secAlone, Ancestry: j.ancestryNames(j.x.ancestry),
		Confirmed: j.confirmed(), Doubts: j.doubts(), NoProof: j.rx.noProof}
}

// doubts is who opposes now.
func (j *Judge) doubts() []HeldDoubt {
	var out []HeldDoubt
	add := func(k string, at timescale.Local, c claim) *HeldDoubt {
		out = append(out, HeldDoubt{Kind: k, At: at, LoS: c.lo, HiS: c.hi})
		return &out[len(out)-1]
	}
	if j.receiverOpposes() {
		add(heldReceiver, j.rx.claimAt, j.rx.claim)
	}
	if j.rtc.fault == fDisagrees {
		add(heldRTC, j.rtc.heard, j.rtc.claim)
	}
	for i := range j.marks {
		if m := &j.marks[i]; j.markOpposes(m) {
			h := add(heldMark, m.at, j.says(m))
			h.Slot, h.Name = i, m.name
		}
	}
	for i := range j.servers[:j.nServer] {
		if s := &j.servers[i]; !s.agrees && !s.outvoted {
			r := j.rel(s.at, s.z)
			add(heldServer, s.at, claim{r - s.bound, r + s.bound}).Name = s.name
		}
	}
	return out
}

// doubtAgain takes up who opposed before.
func (j *Judge) doubtAgain(h *Held) {
	for _, d := range h.Doubts {
		if !(d.LoS <= d.HiS) || d.At > j.f.at {
			continue
		}
		c := claim{d.LoS, d.HiS}
		mid := (c.lo + c.hi) / 2
		z, bound := j.f.base+int64(mid*1e9), (c.hi-c.lo)/2
		switch d.Kind {
		case heldReceiver:
			j.rx.fault, j.rx.claim, j.rx.claimAt, j.rx.attached = fDisagrees, c, d.At, false
			j.rx.back.disagrees(mid)
		case heldRTC:
			j.rtc.fault, j.rtc.claim = fDisagrees, c
		case heldMark:
			if d.Slot >= 0 && d.Slot < markSlots {
				j.marks[d.Slot] = marked{at: d.At, z: z, bound: bound, name: d.Name}
			}
		case heldServer:
			if s := j.serverNamed(d.Name); s != nil {
				s.at, s.z, s.bound, s.agrees, s.outvoted = d.At, z, bound, false, false
			}
		}
	}
	lately := slices.Contains(h.Doubted, "receiver") && h.DoubtNats < doubtful // by the bank
	j.rx.noProof, j.rx.resumed = j.rx.noProof || h.NoProof || lately, true
}

// confirmed is the instant of the newest reading that took part.
func (j *Judge) confirmed() timescale.Local {
	return max(j.x.gnssAt, j.x.netAt, j.x.markAt, j.x.rtcAt, j.x.heldAt)
}

// Resume goes on from what an earlier run knew. Whoever calls it has seen to it that
// the local timescale is the same, and has run on. It comes before what the hardware clock
// said meanwhile: that is what was known when the power came, and this is what came of it.
func (j *Judge) Resume(now timescale.Local) {
	h := j.learned.Held
	clockOnly := j.x.support == supportRTC && j.x.gnssAt == 0 && j.x.netAt == 0 && j.x.markAt == 0
	if h == nil || j.x.known && !clockOnly || h.At > now || h.SigmaS <= 0 || h.RateSigmaPPM <= 0 {
		return
	}
	if j.rtc.attached, j.rtc.independent = false, false; j.rtc.fault == fNone {
		j.rtc.fault = fUncompared
	}
	j.f.base, j.f.at = h.OffsetNS, h.At
	j.f.start(0, sNo, sq(h.SigmaS))
	j.f.forget(sY, h.RatePPM*1e-6, h.RateSigmaPPM*1e-6)
	j.x = known{known: true, dateProved: h.DateProved, secLo: h.SecLo, secHi: h.SecHi, secAlone: h.SecAlone,
		ancestry: j.ancestryOf(h.Ancestry), heldAt: h.Confirmed, stream: h.Stream, lateness: h.LatenessS}
	if h.RoomLoS < h.RoomHiS {
		x := j.f.v[sX]
		j.x.room = room{have: true, c: claim{x + h.RoomLoS, x + h.RoomHiS}, at: h.At, v: sq(h.SigmaS)}
	}
	j.doubtAgain(h)
	j.warm.Restart(j.learned.Temperature.Kept(j.warm.Sensor))
	j.note(now, "started", "The time is held over from before noonmark was started again.")
}

// goesOn tells whether a stream that would have x be rel away is that of the run before:
// it names the same seconds, however late it is.
func (j *Judge) goesOn(at timescale.Local, rel float64) bool {
	h := j.learned.Held
	return j.x.stream && guardZ*j.f.sigma(sY)*at.Sub(h.At).Seconds() < sameStream && math.Abs(rel+j.x.lateness) < sameStream
}
