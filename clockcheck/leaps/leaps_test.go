package leaps

import (
	"bufio"
	"bytes"
	"encoding/json"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

func list(t testing.TB) string {
	b, err := os.ReadFile("testdata/leap-seconds.list")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func day(y int, m time.Month, d int) timescale.UTC {
	return timescale.UTCOf(time.Date(y, m, d, 0, 0, 0, 0, time.UTC))
}

// The list of tzdata 2025b. Last leap second: the end of 2016, TAI − UTC 37 s since
// (IERS Bulletin C 52); expiry 2026-06-28, as the file says.
func TestTzdataList(t *testing.T) {
	tab, err := Read(strings.NewReader(list(t)))
	if err != nil {
		t.Fatal(err)
	}
	if tab.Expires != day(2026, 6, 28) {
		t.Errorf("expires %v", tab.Expires.Time())
	}
	for _, row := range []struct {
		at   timescale.UTC
		want int
		ok   bool
	}{
		{day(1971, 12, 31), 0, false},
		{day(1972, 1, 1), 10, true},
		{day(1999, 1, 1) - 1, 31, true},
		{day(1999, 1, 1), 32, true},
		{day(2017, 1, 1) - 1, 36, true},
		{day(2017, 1, 1), 37, true},
		{day(2026, 6, 28) - 1, 37, true},
		{day(2026, 6, 28), 0, false},
	} {
		if got, ok := tab.TAI(row.at); got != row.want || ok != row.ok {
			t.Errorf("%v: TAI − UTC %d %v, want %d %v", row.at.Time(), got, ok, row.want, row.ok)
		}
	}
	if l, ok := tab.Within(day(2016, 12, 31), 24*time.Hour); !ok || !l.Insert || l.At != day(2017, 1, 1) {
		t.Errorf("end of 2016: %+v %v", l, ok)
	}
	for _, u := range []timescale.UTC{day(2016, 12, 30), day(2017, 1, 1), day(2026, 6, 27), day(2030, 12, 31)} {
		if l, ok := tab.Within(u, 24*time.Hour); ok {
			t.Errorf("%v: a leap second %+v", u.Time(), l)
		}
	}
}

// What is known of the end of a month: the same list, and what it cannot tell.
func TestAt(t *testing.T) {
	tab, err := Read(strings.NewReader(list(t)))
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		name        string
		at, now     timescale.UTC
		leap, known bool
	}{
		{"past its expiry", day(2017, 1, 1), day(2026, 6, 28), false, false},
		{"it ends before", day(2026, 7, 1), day(2026, 6, 27), false, false},
		{"before it begins", day(1972, 1, 1), day(1971, 12, 31), false, false},
		{"none", day(2016, 7, 1), day(2016, 6, 30), false, true},
		{"none any more", day(2026, 6, 1), day(2026, 5, 31), false, true},
		{"one", day(2017, 1, 1), day(2016, 12, 1), true, true},
	} {
		if l, leap, known := tab.At(row.at, row.now); leap != row.leap || known != row.known || leap && (!l.Insert || l.At != row.at) {
			t.Errorf("%s: %+v, leap %v, known %v", row.name, l, leap, known)
		}
	}
	if _, leap, known := (*Table)(nil).At(day(2017, 1, 1), day(2016, 12, 1)); leap || known {
		t.Error("no list knows something")
	}
}

// The older text of the same release, made from the same bulletins in another form,
// names the same days.
func TestAgreesWithTheOtherText(t *testing.T) {
	tab, err := Read(strings.NewReader(list(t)))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile("testdata/leapseconds")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for in := bufio.NewScanner(bytes.NewReader(text)); in.Scan(); {
		f := strings.Fields(in.Text())
		if len(f) < 6 || f[0] != "Leap" {
			continue
		}
		d, err := time.Parse("2006 Jan 2", strings.Join(f[1:4], " "))
		if err != nil {
			t.Fatal(err)
		}
		l, ok := tab.Within(timescale.UTCOf(d), 24*time.Hour)
		if !ok || l.Insert != (f[5] == "+") || l.At != timescale.UTCOf(d.Add(24*time.Hour)) {
			t.Errorf("%s: %+v %v", d, l, ok)
		}
		n++
	}
	if n != 27 || n != len(tab.leaps) {
		t.Errorf("%d leap seconds there, %d here", n, len(tab.leaps))
	}
}

func TestBadLists(t *testing.T) {
	good := list(t)
	swap := func(old, new string) string {
		if !strings.Contains(good, old) {
			t.Fatalf("%q is not in the list", old)
		}
		return strings.Replace(good, old, new, 1)
	}
	for _, row := range []struct{ name, text, want string }{
		{"empty", "", "not a list"},
		{"another file", "hello\n", "is no entry"},
		{"cut short", good[:strings.Index(good, "#h")], "no hash"},
		{"no expiry", swap("#@", "# "), "not a list"},
		{"one digit changed", swap("3692217600", "3692304000"), "does not fit its own hash"},
		{"expiry put off", swap("3991593600", "4991593600"), "does not fit its own hash"},
		{"two seconds at once", swap("3692217600      37", "3692217600      38"), "does not follow"},
		{"back in time", swap("3692217600", "2692217600"), "does not follow"},
		{"not at midnight", swap("3692217600", "3692217601"), "does not follow"},
		{"rubbish for a number", swap("3692217600", "369221760x"), "seconds since 1900"},
		{"hash is no number", swap("#h\t49db2447", "#h\tzzzz2447"), "does not fit"},
	} {
		if _, err := Read(strings.NewReader(row.text)); err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: %v, want %q", row.name, err, row.want)
		}
	}
}

// A table with a leap second left out, which has never happened, reads as one.
func TestNegative(t *testing.T) {
	tab := &Table{first: Leap{At: day(1972, 1, 1), TAI: 10}}
	var digits strings.Builder
	if err := tab.entry("2287785600 9", &digits); err != nil {
		t.Fatal(err)
	}
	tab.Expires = day(2100, 1, 1)
	if l, ok := tab.Within(day(1972, 6, 30), 24*time.Hour); !ok || l.Insert {
		t.Errorf("%+v %v", l, ok)
	}
}

func TestNoTable(t *testing.T) {
	var none *Table
	if _, ok := none.TAI(day(2020, 1, 1)); ok {
		t.Error("no table tells TAI")
	}
	if _, ok := none.Within(day(2016, 12, 31), time.Hour*24); ok {
		t.Error("no table tells a leap second")
	}
}

// Instants at the limits: the table's first and last, and numbers that can be none.
func TestLimits(t *testing.T) {
	at := day(1999, 1, 1)
	tab := &Table{Updated: 1, Expires: at.Add(time.Hour), first: Leap{At: day(1972, 1, 1), TAI: 10}, leaps: []Leap{{At: at, TAI: 32, Insert: true}}}
	if _, ok := tab.Within(at.Add(-time.Hour), time.Hour); !ok {
		t.Error("a leap second at the end of the span is not seen")
	}
	if _, ok := tab.Within(at.Add(-time.Hour-1), time.Hour); ok {
		t.Error("one beyond the span is seen")
	}
	if _, _, known := tab.At(tab.Expires, at); known {
		t.Error("the list knows what is at its end")
	}
	if _, _, known := tab.At(tab.Expires-1, at); !known {
		t.Error("the list knows nothing before its end")
	}
	if _, ok := tab.Within(tab.Expires-1, time.Hour); ok {
		t.Error("a leap second after the last")
	}
	late := *tab
	late.leaps = []Leap{{At: tab.Expires.Add(time.Minute), TAI: 33}}
	if _, ok := late.Within(tab.Expires, time.Hour); ok {
		t.Error("an expired list names a leap second")
	}
	for _, c := range []struct {
		line string
		good bool
	}{
		{"2272060800 10", true}, {"2272060800 0", true}, {"2272060800 -1", false}, {"2272060800 1000", true}, {"2272060800 1001", false},
		{"0 10", false}, {"1 10", true}, {"10000000000 10", true}, {"10000000001 10", false}, {"2272060800 10 11", false},
	} {
		var digits strings.Builder
		if err := (&Table{}).entry(c.line, &digits); (err == nil) != c.good {
			t.Errorf("%q: %v", c.line, err)
		}
	}
}

// Errors name the line, counted from one; a table written down is read as the same.
func TestLineAndJSON(t *testing.T) {
	if _, err := Read(strings.NewReader("# nothing\n\nrubbish\n")); err == nil || !strings.Contains(err.Error(), "line 3") {
		t.Errorf("%v", err)
	}
	tab, err := Read(strings.NewReader(list(t)))
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(tab)
	if err != nil {
		t.Fatal(err)
	}
	var back Table
	if err := json.Unmarshal(b, &back); err != nil || !reflect.DeepEqual(*tab, back) {
		t.Errorf("%v, %+v", err, back)
	}
	was := back
	if err := back.UnmarshalJSON([]byte(`{"Leaps":7}`)); err == nil || !reflect.DeepEqual(was, back) {
		t.Errorf("rubbish: %v, and the table was changed", err)
	}
}

func FuzzRead(f *testing.F) {
	f.Add(list(f))
	f.Add("#$ 3960835200\n#@ 3991593600\n2272060800 10\n#h 1 2 3 4 5\n")
	f.Fuzz(func(t *testing.T, text string) {
		tab, err := Read(strings.NewReader(text))
		if err == nil && (tab == nil || len(tab.leaps) > len(text)) {
			t.Error("no table and no error")
		}
	})
}
