package clockcheck

import "noonmark/clockcheck/timescale"

// ntpPort is where servers are followed; RFC 5905 section 7.2.
const ntpPort = 123

// sharesAncestry tells whether two servers have one ancestry, by what each says it follows:
// they are one machine under two names, one follows the other, or both follow the
// same third. Two that have clocks of their own (stratum 1) share no ancestry. Any
// server may lie about it; see spokenFor.
func (u Upstream) sharesAncestry(v Upstream) bool {
	one := u.ID != [4]byte{} && u.ID == v.ID && u.Port == v.Port
	third := u.follows() && v.follows() && u.Follows == v.Follows
	return one || third || u.after(v) || v.after(u)
}

// follows tells whether u has its time from another server.
func (u Upstream) follows() bool { return u.Stratum > 1 && u.Follows != [4]byte{} }

// after tells whether u has its time from v.
func (u Upstream) after(v Upstream) bool {
	return u.follows() && v.Port == ntpPort && u.Follows == v.ID
}

// family is the lowest of the servers that share the ancestry of the i-th, through
// however many others: the bit that stands for all of them.
func (j *Judge) family(i int) int {
	if !j.on(RuleAncestry) {
		return i
	}
	in := uint(1) << i
	for grown := true; grown; {
		grown = false
		for a := range j.servers[:j.nServer] {
			for b := range j.servers[:j.nServer] {
				if in>>a&1 == 1 && in>>b&1 == 0 && j.servers[a].upstream.sharesAncestry(j.servers[b].upstream) {
					in |= 1 << b
					grown = true
				}
			}
		}
	}
	for k := range i {
		if in>>k&1 == 1 {
			return k
		}
	}
	return i
}

// spokenFor tells whether the i-th server's vote has been cast by one before it: of
// the same ancestry, or where the network is one witness, and of the same opinion. Of
// another opinion it votes for itself, so that nobody loses a vote to a liar who calls
// himself of one ancestry.
func (j *Judge) spokenFor(i int, at timescale.Local, oneNetwork bool) bool {
	s := &j.servers[i]
	r := j.rel(s.at, s.z)
	says := claim{r - s.bound, r + s.bound}
	for k := range j.servers[:i] {
		o := &j.servers[k]
		q := j.rel(o.at, o.z)
		same := s.agrees && o.agrees || !s.agrees && !o.agrees && says.meets(claim{q - o.bound, q + o.bound})
		if same && at.Sub(o.at) < serverAgree && (oneNetwork && j.on(RuleAncestry) || j.family(k) == j.family(i)) {
			return true
		}
	}
	return false
}
