// Package leaps reads the list of leap seconds that comes with tzdata
// (leap-seconds.list): text in, a table out, or an error that says what is wrong
// with the text. It opens no file and reads no clock.
//
// The list is only worth what its own marks say: its hash must fit, and past its
// date of expiry nobody knows whether a leap second has been announced since.
// Source of the format: the comments of the file itself (IERS, tzdata).
package leaps

import (
	"bufio"
	"crypto/sha1"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"noonmark/clockcheck/timescale"
)

// Path is where Debian and others keep the list.
const Path = "/usr/share/zoneinfo/leap-seconds.list"

// epoch is 1900-01-01 in Unix time: the list counts seconds since then.
const epoch = -2208988800

// Leap is one change of TAI − UTC.
type Leap struct {
	At     timescale.UTC // first instant at which TAI holds
	TAI    int           // TAI − UTC from then on, s
	Insert bool          // the second before At was 23:59:60; else 23:59:59 was left out
}

// Table is a list that has been read and fits its hash.
type Table struct {
	Updated, Expires timescale.UTC
	first            Leap // not a leap second: where the count begins
	leaps            []Leap
}

// Read reads and checks a list.
func Read(r io.Reader) (*Table, error) {
	var t Table
	var digits strings.Builder // what the hash is over
	hash := ""
	entries := 0
	in := bufio.NewScanner(r)
	for n := 1; in.Scan(); n++ {
		line := in.Text()
		var err error
		switch {
		case strings.HasPrefix(line, "#$"):
			t.Updated, err = mark(line[2:], &digits)
		case strings.HasPrefix(line, "#@"):
			t.Expires, err = mark(line[2:], &digits)
		case strings.HasPrefix(line, "#h"):
			hash = line[2:]
		case strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "":
		default:
			entries++
			err = t.entry(line, &digits)
		}
		if err != nil {
			return nil, fmt.Errorf("leaps: line %d: %w", n, err)
		}
	}
	switch err := in.Err(); {
	case err != nil:
		return nil, fmt.Errorf("leaps: read: %w", err)
	case entries == 0 || t.Updated == 0 || t.Expires == 0:
		return nil, errors.New("leaps: not a list of leap seconds: its dates or its entries are missing")
	}
	if err := fits(hash, digits.String()); err != nil {
		return nil, err
	}
	return &t, nil
}

// mark reads a date that stands behind a mark.
func mark(text string, digits *strings.Builder) (timescale.UTC, error) {
	text = strings.TrimSpace(text)
	u, err := instant(text)
	digits.WriteString(text)
	return u, err
}

func instant(text string) (timescale.UTC, error) {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n <= 0 || n > 1e10 {
		return 0, fmt.Errorf("%.20q is no count of seconds since 1900", text)
	}
	return timescale.UTC((n + epoch) * timescale.Second), nil
}

// entry reads a line of data: the instant, then TAI − UTC from then on.
func (t *Table) entry(line string, digits *strings.Builder) error {
	line, _, _ = strings.Cut(line, "#")
	f := strings.Fields(line)
	if len(f) != 2 {
		return fmt.Errorf("%.40q is no entry", line)
	}
	at, err := instant(f[0])
	if err != nil {
		return err
	}
	tai, err := strconv.Atoi(f[1])
	if err != nil || tai < 0 || tai > 1000 {
		return fmt.Errorf("%.20q is no TAI − UTC", f[1])
	}
	digits.WriteString(f[0] + f[1])
	last := t.first
	if len(t.leaps) > 0 {
		last = t.leaps[len(t.leaps)-1]
	}
	l := Leap{At: at, TAI: tai, Insert: tai > last.TAI}
	switch d := tai - last.TAI; {
	case t.first.At == 0:
		t.first = l
		return nil
	case at <= last.At || d != 1 && d != -1 || int64(at)%(86400*timescale.Second) != 0:
		return fmt.Errorf("%.40q does not follow from the line before", line)
	}
	t.leaps = append(t.leaps, l)
	return nil
}

// fits checks the hash: SHA-1 over the digits of both dates and of all entries,
// written as five words from which leading zeros may have been dropped.
func fits(hash, digits string) error {
	words := strings.Fields(hash)
	sum := sha1.Sum([]byte(digits))
	if len(words) != 5 {
		return errors.New("leaps: the list carries no hash: it is incomplete")
	}
	for i, w := range words {
		v, err := strconv.ParseUint(w, 16, 32)
		if err != nil || uint32(v) != binary.BigEndian.Uint32(sum[4*i:]) {
			return errors.New("leaps: the list does not fit its own hash: it is damaged or was changed")
		}
	}
	return nil
}

// TAI returns TAI − UTC at u in seconds. ok is false where the list cannot tell: it
// has expired, or u lies before it begins.
func (t *Table) TAI(u timescale.UTC) (tai int, ok bool) {
	if t == nil || u >= t.Expires || u < t.first.At {
		return 0, false
	}
	tai = t.first.TAI
	for _, l := range t.leaps {
		if u >= l.At {
			tai = l.TAI
		}
	}
	return tai, true
}

// At returns the leap second whose instant is at, as seen from now; leap is false
// where there is none. known is false where the list cannot tell: it has expired, or
// ends before at and names none there.
func (t *Table) At(at, now timescale.UTC) (l Leap, leap, known bool) {
	if t == nil || now >= t.Expires || at <= t.first.At {
		return Leap{}, false, false
	}
	for _, l := range t.leaps {
		if l.At == at {
			return l, true, true
		}
	}
	return Leap{}, false, at < t.Expires
}

// Within returns the leap second whose instant At lies after u and at most d after
// it. ok is false where there is none, or where the list cannot tell.
func (t *Table) Within(u timescale.UTC, d time.Duration) (next Leap, ok bool) {
	if t == nil || u >= t.Expires {
		return Leap{}, false
	}
	for _, l := range t.leaps {
		if l.At > u && l.At.Sub(u) <= d {
			return l, true
		}
	}
	return Leap{}, false
}
