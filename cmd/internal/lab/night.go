package lab

// Mode is what a night was for one mode. Times in s.
type Mode struct {
	Mode     string  `json:"mode"`
	First    float64 `json:"first_within_s"` // −1 = never
	Within   int     `json:"within_s"`
	Declared int     `json:"declared_false_s"` // false within, in a part declared beyond what can be seen
	Refusal
}

// Refusal is what was said falsely, and what was refused needlessly, s.
type Refusal struct {
	False        int `json:"false_within_s"`
	Proved       int `json:"healthy_proved_s"`   // truth within half the tolerance, a healthy receiver proved for 60 s
	Needless     int `json:"needless_proved_s"`  // of that, not within
	Unproved     int `json:"healthy_unproved_s"` // the same, its second or latency not proved
	NeedlessUnpr int `json:"needless_unproved_s"`
	Ear          int `json:"healthy_ear_s"` // the same, where a crowd was heard, nothing but it and the receiver tells UTC, and could prove it
	NeedlessEar  int `json:"needless_ear_s"`

	Faded         int `json:"healthy_faded_s"` // the same, where it has not been heard for an hour
	NeedlessFaded int `json:"needless_faded_s"`
}

func (r *Refusal) add(o Refusal) {
	r.False += o.False
	r.Proved += o.Proved
	r.Needless += o.Needless
	r.Unproved += o.Unproved
	r.NeedlessUnpr += o.NeedlessUnpr
	r.Ear += o.Ear
	r.NeedlessEar += o.NeedlessEar
	r.Faded += o.Faded
	r.NeedlessFaded += o.NeedlessFaded
}

// Sample is the judgement at one instant of a night, drawn at random from the parts
// that are not declared beyond what can be seen: an error that is common to a night
// must not count 43,200 times.
type Sample struct {
	Basis   string  `json:"basis"`
	Learned bool    `json:"learned"` // latency (RTC: its offset) and rate
	Error   float64 `json:"error_s"` // estimate − truth
	Bound   float64 `json:"bound_s"`
}

// Night is what happened in one.
type Night struct {
	Scenario    string  `json:"scenario"`
	Seed        uint64  `json:"seed"`
	Seconds     int     `json:"up_s"`
	Modes       []Mode  `json:"modes"`
	Missed      int     `json:"guard_missed_s"` // error ± guard did not hold the truth
	RMS         float64 `json:"rms_s"`          // of the estimate, while second and latency are proved
	Max         float64 `json:"max_s"`
	Steered     float64 `json:"steered_rms_s"` // of the system clock where it is steered, once it was within for a minute
	SteeredMax  float64 `json:"steered_max_s"`
	Steps       int     `json:"steps"`    // by anybody
	RTCSets     int     `json:"rtc_sets"` // by the station
	StateWrites int     `json:"state_writes"`
	// Promises is how often good-for was looked at, and Kept the least share of it that a
	// verdict would have lasted if every reading had stopped then; 1 = all were kept.
	Promises int            `json:"promises"`
	Kept     float64        `json:"promise_kept"`
	Samples  []Sample       `json:"samples"`
	Breaks   []Break        `json:"breaks,omitempty"`
	Kinds    []string       `json:"kinds,omitempty"`
	Seen     *Seen          `json:"seen,omitempty"`
	Classes  map[int]int    `json:"declared_false_by_class,omitempty"`
	Why      map[string]int `json:"needless_why,omitempty"` // s, by the largest term of the guard
}

// Good tells whether everything expected held, and nothing false was said.
func (n *Night) Good() bool {
	for _, m := range n.Modes {
		if m.False > 0 {
			return false
		}
	}
	return len(n.Breaks) == 0 && n.Missed == 0
}
