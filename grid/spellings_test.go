package grid

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
)

// Places whose truth is known, spelled in the ways of people, programs and pasted text.
// The speller below draws whole numbers of degrees, minutes and seconds and a number of
// decimals, and knows the place from these; it shares nothing with the reader. A spelling
// with decimal commas may be refused; whatever is read must be the truth.

// angleDrawn is an angle as a list of parts: degrees; degrees and minutes; or all three.
type angleDrawn struct {
	neg      bool
	parts    []int
	frac     int // of the last part, in 10^-decimals
	decimals int
	isLat    bool
}

func (a angleDrawn) value() float64 {
	v := 0.0
	for i, p := range a.parts {
		v += float64(p) / math.Pow(60, float64(i))
	}
	v += float64(a.frac) / math.Pow10(a.decimals) / math.Pow(60, float64(len(a.parts)-1))
	if a.neg {
		return -v
	}
	return v
}

type speller struct{ *rand.Rand }

func (s speller) pick(of ...string) string { return of[s.IntN(len(of))] }

// draw draws an angle; whole numbers are common, for it is they that can be misread.
func (s speller) draw(isLat bool, parts, decimals int) angleDrawn {
	limit := 179
	if isLat {
		limit = 89
	}
	a := angleDrawn{neg: s.IntN(2) == 0, parts: []int{s.IntN(limit + 1)}, decimals: decimals, isLat: isLat}
	for len(a.parts) < parts {
		a.parts = append(a.parts, s.IntN(60))
	}
	if decimals > 0 {
		a.frac = s.IntN(int(math.Pow10(decimals)))
	}
	return a
}

// number writes part i; the last one with decimals after point.
func (a angleDrawn) number(i, width int, point string) string {
	text := fmt.Sprintf("%0*d", width, a.parts[i])
	if i == len(a.parts)-1 && a.decimals > 0 {
		text += point + fmt.Sprintf("%0*d", a.decimals, a.frac)
	}
	return text
}

// style is how both angles of a place are written.
type style struct {
	marks              []string // after each part; nil: blanks between
	padded             bool
	signed             bool // by sign, else by letter
	positive           string
	direction          func(isLat, neg bool) string
	before, after      string // between direction and number
	labelLat, labelLon string
}

var initials = func(isLat, neg bool) string {
	return map[[2]bool]string{{true, false}: "N", {true, true}: "S", {false, false}: "E", {false, true}: "W"}[[2]bool{isLat, neg}]
}

var wordsOf = func(isLat, neg bool) string {
	return map[string]string{"N": "North", "S": "south", "E": "EAST", "W": "West"}[initials(isLat, neg)]
}

// spell writes the angle in a style.
func (s speller) spell(a angleDrawn, st style, point string) string {
	var text string
	for i := range a.parts {
		width := 1
		if st.padded {
			width = 2
			if i == 0 && !a.isLat {
				width = 3
			}
		}
		text += a.number(i, width, point)
		switch {
		case st.marks != nil:
			text += st.marks[i]
		case i < len(a.parts)-1:
			text += " "
		}
	}
	text = strings.TrimSuffix(strings.TrimRight(text, " "), "-")
	if st.marks != nil && st.marks[0] == " deg " && st.after == "" {
		text += " "
	}
	text = strings.TrimSuffix(text, ":")
	label := st.labelLon
	if a.isLat {
		label = st.labelLat
	}
	switch {
	case st.signed && a.neg:
		return label + s.pick("-", "-", "−") + text
	case st.signed:
		return label + st.positive + text
	case st.before != "":
		return label + st.direction(a.isLat, a.neg) + strings.TrimPrefix(st.before, "|") + text
	}
	return label + text + st.after + st.direction(a.isLat, a.neg)
}

// A spelling is one text, its truth, and whether it must be read.
type spelling struct {
	text     string
	lat, lon float64
	must     bool
}

func (s speller) next() spelling {
	parts, decimals := 1+s.IntN(3), s.IntN(6)
	simple := s.IntN(3) == 0 // bare numbers with few decimals: nothing but order tells what they are
	if simple {
		parts, decimals = 1+s.IntN(2), 1+s.IntN(2)
	}
	lat, lon := s.draw(true, parts, decimals), s.draw(false, parts, s.pickInt(decimals, decimals, 0))
	point, must := ".", true
	if s.IntN(4) == 0 {
		point, must = ",", false
	}
	if s.IntN(8) == 0 {
		return s.oneNumber(lat, lon, point, must)
	}
	st := style{signed: s.IntN(2) == 0, direction: initials, padded: s.IntN(3) == 0}
	st.positive = s.pick("", "", "+")
	if !st.signed && s.IntN(2) == 0 {
		st.direction = wordsOf
		st.after = s.pick(" ", "  ")
	}
	if !st.signed && s.IntN(3) == 0 {
		st.before, st.after = s.pick("|", " "), ""
	}
	if st.marks = s.marks(st, parts); simple {
		st.marks = nil
	}
	lonFirst := !st.signed && s.IntN(3) == 0
	if s.IntN(6) == 0 {
		k := s.IntN(3)
		st.labelLat, st.labelLon = []string{"Lat: ", "lat=", "Latitude "}[k], []string{"Lon: ", "lng=", "Longitude "}[k]
		lonFirst = s.IntN(2) == 0
	}
	first, second := s.spell(lat, st, point), s.spell(lon, st, point)
	if lonFirst {
		first, second = second, first
	}
	out := spelling{lat: lat.value(), lon: lon.value(), must: must}
	out.text = first + s.between(st, lat, must) + second
	if s.IntN(12) == 0 {
		out.text = s.pick("(", "[ ") + out.text
		out.text += map[byte]string{'(': ")", '[': " ]"}[out.text[0]]
	}
	if s.IntN(12) == 0 {
		out.text = s.pick("Position: ", "pos ", " ") + out.text
	}
	return out
}

// oneNumber writes degrees and minutes in one number: 4830.5N 01115.0E, ISO 6709, or a
// geo URI (degrees only).
func (s speller) oneNumber(lat, lon angleDrawn, point string, must bool) spelling {
	write := func(a angleDrawn, sign string) string {
		text := sign
		for i := range a.parts {
			width := 2
			if i == 0 && !a.isLat {
				width = 3
			}
			text += a.number(i, width, point)
		}
		return text
	}
	sign := func(a angleDrawn) string { return map[bool]string{true: "-", false: "+"}[a.neg] }
	out := spelling{lat: lat.value(), lon: lon.value(), must: must}
	switch {
	case len(lat.parts) == 1 && must && s.IntN(2) == 0: // its grammar is machines': no decimal commas
		out.text = strings.ReplaceAll("geo:"+write(lat, sign(lat))+","+write(lon, sign(lon)), "+", "")
	case s.IntN(2) == 0:
		out.text = write(lat, sign(lat)) + write(lon, sign(lon)) + s.pick("/", "/", "+120/", "CRSWGS_84/")
	default:
		out.text = write(lat, "") + s.pick("", " ") + initials(true, lat.neg) + s.pick("/", " ", ", ") + write(lon, "") + initials(false, lon.neg)
	}
	return out
}

func (s speller) pickInt(of ...int) int { return of[s.IntN(len(of))] }

// marks are those after degrees, minutes and seconds; nil for none.
func (s speller) marks(st style, parts int) []string {
	all := [][]string{nil, {"°", "'", "\""}, {"°", "′", "″"}, {"° ", "' ", "'' "}, {"º", "’", "”"}, {" deg ", " min ", " sec "}, {"°", "'", ""}}
	if parts > 1 {
		all = append(all, []string{":", ":", ""})
		if !st.signed {
			all = append(all, []string{"-", "-", ""})
		}
	}
	return all[s.IntN(len(all))]
}

// between is what stands between the coordinates. With decimal commas people write a
// blank, a semicolon, a slash or a comma; with points all but a semicolon must be read.
func (s speller) between(st style, lat angleDrawn, must bool) string {
	marked := st.marks != nil && st.marks[0] != ":" && st.marks[0] != "-"
	if must {
		if whole := lat.decimals == 0 && len(lat.parts) > 1; st.signed && !marked && whole { // 8 41,13 26 may be refused
			return s.pick(", ", " , ", " / ", "/", "  ")
		} else if st.signed && !marked {
			return s.pick(", ", ",", " , ", " / ", "/", "  ")
		}
		return s.pick(", ", " ", " / ", "/", " ,")
	}
	return s.pick(" ", " ", ", ", "; ", " / ", "/", "\t")
}

// spellingsRead reads n spellings; wrong ones are errors, and so are refused ones that
// must be read.
func spellingsRead(t *testing.T, seed uint64, n int) (read, refused int) {
	s := speller{rand.New(rand.NewPCG(seed, 17))}
	for range n {
		sp := s.next()
		got, err := ParsePlace(sp.text)
		if err != nil {
			if refused++; sp.must {
				t.Errorf("%q: %v", sp.text, err)
			}
			continue
		}
		read++
		lat, lon := got.Point.LatLon()
		if math.Abs(lat-sp.lat) > 2e-9 || turn(lon, sp.lon) > 2e-9 {
			t.Errorf("%q: read as %.9f, %.9f; it is %.9f, %.9f", sp.text, lat, lon, sp.lat, sp.lon)
		}
	}
	return read, refused
}

// What the table of UTM and MGRS says (GeographicLib 2.1.2), as operators write it.
func TestSpellingsOfGrids(t *testing.T) {
	for _, row := range readTable(t, "mgrs.csv", 500) {
		zone, hemisphere := row[3][:len(row[3])-1], map[byte]string{'n': "North", 's': "south"}[row[3][len(row[3])-1]]
		if zone == "" {
			continue
		}
		lat, lon := number(t, row[0]), number(t, row[1])
		for text, tolM := range map[string]float64{
			"UTM " + zone + " " + hemisphere + " " + row[4] + " " + row[5]: 0.01, "utm zone: " + row[2][:3] + " " + row[4] + " " + row[5]: 0.01,
			"(" + zone + " " + hemisphere + " " + row[4] + "m E " + row[5] + "m N)": 0.01, "MGRS: " + row[2]: 0.72,
			"mgrs " + row[2][:3] + " " + row[2][3:5] + " " + row[2][5:10] + " " + row[2][10:]: 0.72, "[UTM " + strings.ToLower(row[2]) + "]": 0.72,
		} {
			if got, err := ParsePlace(text); err != nil || distance(got.Point, mustDegrees(t, lat, lon)) > tolM {
				t.Errorf("%q: %+v, %v; it is %v, %v", text, got, err, lat, lon)
			}
		}
	}
}

// None of 60,000 spellings may be read wrongly without a word. NOONMARK_TEST_SPELLINGS
// asks for another number.
func TestSpellings(t *testing.T) {
	n := 60_000
	if text := os.Getenv("NOONMARK_TEST_SPELLINGS"); text != "" {
		n, _ = strconv.Atoi(text)
	}
	read, refused := spellingsRead(t, 1, n)
	t.Logf("%d read, %d refused: decimal commas", read, refused)
	if read < n/2 || refused < n/10 {
		t.Errorf("%d read, %d refused of %d", read, refused, n)
	}
}
