package band

import (
	"iter"
	"math"
	"sort"
)

// Signal is one signal of a mode.
type Signal struct {
	BeginS float64 // its first sync symbol, seconds after the first sample
	FreqHz float64 // its lowest tone
	SNRdB  float64 // in 2500 Hz
	Score  float64 // nats by which the sync stands out
	Hits   int     // sync symbols whose tone was the strongest
	Of     int     // sync symbols that lie in the sound
	Plain  bool    // so many hits that other modes' signals hardly ever make them: fit for a crowd
}

// candidate is a place in the spectrum.
type candidate struct {
	frame, bin int
	hits, of   int
	score      float64
	plain      bool
}

// passes is how often the sound is searched: after each pass what was found is taken
// out, and the rest searched anew.
const passes = 2

// Find lists the signals of a mode in 8 kHz samples that begin with a period, the plainest first. Signals of which
// a third lies outside the samples are found, too. Where a mode's arrays are alike and one of them is not heard,
// the signal is taken to lie in the samples.
func Find(samples []float32, m Mode) []Signal { return find(samples, m, false) }

// FindWhole is for samples that begin anywhere. It lists only signals that lie in them wholly; those that could as well be
// the rest of one that is cut off are not Plain.
func FindWhole(samples []float32, m Mode) []Signal { return find(samples, m, true) }

func find(samples []float32, m Mode, whole bool) []Signal {
	s, fine := analyse(samples, m), newFine(m)
	var kept []candidate
	var out []Signal
	for pass := range passes {
		before := len(kept)
		kept = prune(kept, search(s, m, whole), m)
		for _, c := range kept[before:] {
			out = append(out, fine.refine(samples, s, m, c))
		}
		if pass+1 == passes || len(kept) == before {
			break
		}
		for _, c := range kept[before:] {
			s.blank(m, c)
		}
		s.climb(m.Tones)
	}
	return out
}

// probe is where a sync symbol lies, from the place that is looked at.
type probe struct {
	frames int
	tone   uint8
}

func probesOf(m Mode) (all []probe) {
	for _, a := range m.Arrays {
		for k, tone := range a.tones {
			all = append(all, probe{(a.at + k) * perSymbol, uint8(tone)})
		}
	}
	return all
}

// search looks at every place of the spectrum.
func search(s *spectrum, m Mode, whole bool) (found []candidate) {
	probes, blocks := probesOf(m), blocksOf(m)
	need, sums := thresholds(m, len(probes)), inPhaseLeast(len(blocks))
	width := perSpacing * (m.Tones - 1)
	counts := make([]uint64, s.words)
	for f := -probes[len(probes)-1].frames; f < s.frames; f++ {
		in := probes
		for len(in) > 0 && f+in[0].frames < 0 {
			in = in[1:]
		}
		for len(in) > 0 && f+in[len(in)-1].frames >= s.frames {
			in = in[:len(in)-1]
		}
		t := need[len(in)]
		if t.hits == 0 || whole && len(in) < len(probes) {
			continue
		}
		for b, hits := range s.hits(f, in, t.gate, counts) {
			if b+width >= s.bins {
				continue
			}
			sum, n := 0.0, 0
			if s.phase != nil {
				sum, n = s.inPhase(f, b, blocks, m.Tones)
			}
			coherent := n > 0 && sum >= sums[n-1]
			if hits < t.hits && !coherent {
				continue
			}
			c := candidate{f, b, hits, len(in), 0, hits >= t.plain || coherent && hits >= t.gatePlain}
			c.plain = c.plain && (!whole || s.ends(f, b, m))
			for _, p := range in {
				c.score += s.standsOut(f+p.frames, b, int(p.tone), m.Tones)
			}
			if coherent || c.score >= t.score {
				found = append(found, s.inside(c, m, probes))
			}
		}
	}
	return found
}

// endHits is how many of the seven symbols of an outer array must be heard: a place that is an array off has them by
// chance in 4 % (binomial), so that five such, which would make a crowd, agree in one of 7 million.
const endHits = 3

// ends tells whether a place is the signal's begin and not an array beside it, where arrays are alike: two arrays
// alone may be the first two or the last two. Where the other place lies in the sound, the better of both is
// kept; where it does not, the array must be heard that only this place has.
func (s *spectrum) ends(f, b int, m Mode) bool {
	if !m.alike() {
		return true
	}
	first, last := m.Arrays[0], m.Arrays[len(m.Arrays)-1]
	apart, end := m.Arrays[1].at*perSymbol, (last.at+len(last.tones)-1)*perSymbol
	return (f-apart >= 0 || s.hears(f, b, last)) && (f+apart+end < s.frames || s.hears(f, b, first))
}

func (s *spectrum) hears(f, b int, a array) bool {
	n := 0
	for k, tone := range a.tones {
		if s.tone(f+(a.at+k)*perSymbol, b) == tone {
			n++
		}
	}
	return n >= endHits
}

// inside moves a place of which a part lies outside the sound by one array, where arrays
// are alike: the same symbols, the third array not seen, and the whole signal in the sound.
func (s *spectrum) inside(c candidate, m Mode, probes []probe) candidate {
	if c.of == len(probes) || !m.alike() {
		return c
	}
	apart, last := m.Arrays[1].at*perSymbol, probes[len(probes)-1].frames
	for _, f := range [2]int{c.frame - apart, c.frame + apart} {
		if f >= 0 && f+last < s.frames {
			c.frame = f
		}
	}
	return c
}

// ones is 1 in each byte of a word.
const ones = 0x0101_0101_0101_0101

// hits yields the bins of a frame in which the tone of need sync symbols or more is the strongest, and of how
// many. Eight bins are counted at a time: where tone and strongest, both below 8, are the same, their
// difference is 0, and 8 less it has the bit of 8.
func (s *spectrum) hits(frame int, in []probe, need int, counts []uint64) iter.Seq2[int, int] {
	clear(counts)
	for _, p := range in {
		row, tone := s.strongest[(frame+p.frames)*s.words:][:len(counts)], ones*uint64(p.tone)
		for i, w := range row {
			counts[i] += (8*ones - (w ^ tone)) >> 3 & ones
		}
	}
	return func(yield func(bin, hits int) bool) {
		short := ones * uint64(128-need) // with it, a byte of need or more has the bit of 128
		for i, n := range counts {
			if (n+short)&(128*ones) == 0 {
				continue
			}
			for k := range 8 {
				if h := int(n >> (8 * k) & 255); h >= need && !yield(8*i+k, h) {
					return
				}
			}
		}
	}
}

// mostNats is the most that one symbol may add: a strong neighbour that happens to
// fall on the right tone must not outweigh many symbols.
const mostNats = 2.0

// standsOut is −ln(1 − r), r the share of a tone in the power of all tones. In even
// noise r is Beta(1, tones − 1), so that the sum over n symbols is Gamma(n)/(tones − 1).
func (s *spectrum) standsOut(frame, bin, tone, tones int) float64 {
	row := s.power[frame*s.bins+bin:]
	sum := float32(0)
	for k := range tones {
		sum += row[k*perSpacing]
	}
	rest := sum - row[tone*perSpacing]
	if rest*math.MaxInt16 < sum {
		return mostNats
	}
	return math.Min(math.Log(float64(sum/rest)), mostNats)
}

// prune adds to kept the plainest of those that are the same signal seen beside its place.
func prune(kept, all []candidate, m Mode) []candidate {
	sort.SliceStable(all, func(i, k int) bool { return all[i].score > all[k].score })
	for _, c := range all {
		same := false
		for _, k := range kept {
			same = same || m.same(c, k)
		}
		if !same {
			kept = append(kept, c)
		}
	}
	return kept
}

// same tells whether two places are one signal: beside each other, or, where the
// arrays are alike, one array apart.
func (m Mode) same(c, k candidate) bool {
	df, dt := abs(c.bin-k.bin), abs(c.frame-k.frame)
	if df > 2*perSpacing {
		return false
	}
	if dt <= perSymbol*5/4 {
		return true
	}
	if !m.alike() {
		return false
	}
	apart := m.Arrays[1].at * perSymbol
	return abs((dt+apart/2)%apart-apart/2) <= perSymbol
}

func abs(x int) int { return max(x, -x) }
