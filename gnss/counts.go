package gnss

// Counts tells what was read and what was skipped since the decoder was made.
type Counts struct {
	Bytes     uint64            // fed
	Lines     uint64            // that ended in CR or LF, empty ones not counted
	Sentences uint64            // well-formed, with the right checksum (or rightly without one)
	Unchecked uint64            // of these, the ones without a checksum
	ByType    map[string]uint64 // the same by type: "RMC", or the whole address if proprietary; "others" past 100 types
	Skipped   map[string]uint64 // lines, sentences and pieces skipped, by reason; reasons that did not occur are left out
	Epochs    uint64            // finished, with a time not named before
	Valid     uint64            // of these, the ones the receiver called valid
	NoTime    uint64            // finished, without a time
	Repeated  uint64            // finished, naming an instant again
}

// reason is why something was skipped. The words are part of what noonmark
// publishes: they stay.
type reason int

const (
	skipText      reason = iota // printable characters outside any sentence
	skipPrefix                  // the same, right before a sentence on its line: a logger's stamp
	skipBinary                  // bytes outside 0x20–0x7e, in or between sentences
	skipLong                    // no end within maxLine bytes
	skipCut                     // the next sentence began before this one ended
	skipChecksum                // *hh is there and wrong
	skipNoSum                   // no *hh, on a port where it must be
	skipMalformed               // right checksum, impossible content
	skipUnneeded                // right checksum, a type that is not looked into
	skipRepeat                  // names the time it named before
	skipLate                    // its epoch was already finished
	skipFault                   // the parser panicked
	reasons
)

var reasonWords = [reasons]string{
	"text outside sentences", "line prefix", "binary", "too long", "cut short", "checksum",
	"no checksum", "malformed", "not needed", "repeated time", "late", "parser fault",
}

// tally is Counts as it is kept: without a map write per sentence that allocates.
type tally struct {
	bytes, lines, sentences, unchecked uint64
	epochs, valid, noTime, repeated    uint64
	skipped                            [reasons]uint64
	byType                             map[[5]byte]*uint64
	others                             uint64
}

const maxTypes = 100 // a hostile stream could otherwise fill memory with names

func (t *tally) sentence(name [5]byte) {
	t.sentences++
	n := t.byType[name]
	if n == nil {
		if len(t.byType) >= maxTypes {
			t.others++
			return
		}
		n = new(uint64)
		t.byType[name] = n
	}
	*n++
}

// Counts returns a copy of the counters.
func (d *Decoder) Counts() Counts {
	t := &d.tally
	c := Counts{
		Bytes: t.bytes, Lines: t.lines, Sentences: t.sentences, Unchecked: t.unchecked,
		ByType: make(map[string]uint64, len(t.byType)+1), Skipped: make(map[string]uint64),
		Epochs: t.epochs, Valid: t.valid, NoTime: t.noTime, Repeated: t.repeated,
	}
	for name, n := range t.byType {
		c.ByType[typeName(name)] = *n
	}
	if t.others > 0 {
		c.ByType["others"] = t.others
	}
	for r, n := range t.skipped {
		if n > 0 {
			c.Skipped[reasonWords[r]] = n
		}
	}
	return c
}

// typeName is the text of a name that may end in zero bytes.
func typeName(b [5]byte) string {
	n := 0
	for n < len(b) && b[n] != 0 {
		n++
	}
	return string(b[:n])
}
