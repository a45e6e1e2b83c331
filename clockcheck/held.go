package clockcheck

import "noonmark/clockcheck/timescale"

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
	Ancestry     []string        `json:"ancestry"`
	Confirmed    timescale.Local `json:"confirmed_local_ns"` // the newest reading that took part
	// Up to when a move of the oscillator would have shown; 0 = as Confirmed (versions before
	// 0.2 kept none).
	Rated timescale.Local `json:"rated_local_ns,omitempty"`
	// How late the receiver's stream was against the estimate, s, if Stream. The estimate
	// may be far less well known, where nobody proved that latency.
	Stream    bool    `json:"stream"`
	LatenessS float64 `json:"lateness_s"`
	// Doubted is whom explanations still took to be false.
	Doubted []DoubtedSet `json:"doubted_sets,omitempty"`
	// Kept by builds before December 2026: all of these, whoever doubted whom, and how dear those explanations were together.
	WasDoubted []string `json:"doubted,omitempty"`
	DoubtNats  float64  `json:"doubt_nats,omitempty"`
	// Where UTC lies, s later than OffsetNS has it, as an unproved latency leaves it; both 0
	// where there is none such.
	RoomLoS float64 `json:"room_lo_s,omitempty"`
	RoomHiS float64 `json:"room_hi_s,omitempty"`
	// The accounts that the run left, the one that was believed first; none where there is but one. All together are what is
	// said above.
	Accounts []HeldAccount `json:"accounts,omitempty"`
	// Kept by versions that judged by rules: who said something else, and whether the receiver
	// had left its own stream.
	Doubts  []HeldDoubt `json:"doubts,omitempty"`
	NoProof bool        `json:"no_proof,omitempty"`
}

// DoubtedSet is whom explanations took to be false, all of them together, and how unlikely these explanations were.
type DoubtedSet struct {
	Whom []string `json:"whom"`
	Nats float64  `json:"nats"` // −ln of their weight, at least 0
}

// HeldAccount is where UTC was when the run ended by explanations of one place, which say the same of the receiver. Of the
// fields that Held has, too, they say the same.
type HeldAccount struct {
	ReceiverFalse bool            `json:"receiver_false,omitempty"`
	DearerNats    float64         `json:"dearer_nats,omitempty"` // than the first, at least 0
	OffS          float64         `json:"off_s"`                 // UTC is later than all together have it
	SigmaS        float64         `json:"sigma_s"`
	RoomLoS       float64         `json:"room_lo_s,omitempty"`
	RoomHiS       float64         `json:"room_hi_s,omitempty"`
	RatePPM       float64         `json:"rate_ppm"`
	RateSigmaPPM  float64         `json:"rate_sigma_ppm"`
	Ancestry      []string        `json:"ancestry"`
	Confirmed     timescale.Local `json:"confirmed_local_ns"`
	Rated         timescale.Local `json:"rated_local_ns"`
	Stream        bool            `json:"stream"`
	LatenessS     float64         `json:"lateness_s"`
	// What the account has paid for: the lateness is not what is kept of the receiver, that leads, and whom the account takes to be false.
	Another bool     `json:"another,omitempty"`
	Leads   bool     `json:"leads,omitempty"`
	False   []string `json:"false,omitempty"`
}

// HeldDoubt is a reference that said something else when the run ended: where it would have
// UTC be, s later than OffsetNS has it.
type HeldDoubt struct {
	Kind string  `json:"kind"` // receiver, rtc, mark, server
	LoS  float64 `json:"lo_s"`
	HiS  float64 `json:"hi_s"`
}
