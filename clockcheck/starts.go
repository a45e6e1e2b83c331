package clockcheck

// LearnedStarts is what the cold starts of one receiver told: whether it was ahead by whole
// seconds until its leap-second data came. It is of whoever bears this identity; the judge
// reckons with another unit besides.
type LearnedStarts struct {
	Key   string `json:"key"`           // as of LearnedLatency
	Right int    `json:"right"`         // after so many its second was right from the first fix
	Led   bool   `json:"led,omitempty"` // after one it led
}

const maxStarts = 8 // receivers that are kept, the newest

// StartsOf finds what is kept of a receiver; the zero value knows nothing.
func (l *Learned) StartsOf(key string) LearnedStarts {
	for _, s := range l.Starts {
		if s.Key == key {
			return s
		}
	}
	return LearnedStarts{Key: key}
}

// KeepStarts puts s in place of what is kept of its receiver, as the newest.
func (l *Learned) KeepStarts(s LearnedStarts) {
	all := []LearnedStarts{s}
	for _, o := range l.Starts {
		if o.Key != s.Key && len(all) < maxStarts {
			all = append(all, o)
		}
	}
	l.Starts = all
}
