package grid

import "fmt"

// Maidenhead locator: pairs of characters, longitude first, counted east from
// 180° W and north from 90° S, in bases 18, 10, 24, 10, 24 (IARU VHF working
// group, Maidenhead 1980; WGS 84 since the IARU Region 1 conference of 1999).
// Cells are half-open: a border belongs to the cell east or north of it.
// Longitude +180 is −180 (first letter A). No published rule covers latitude
// +90: we put it in the top row.

// maxLocator is the longest locator: a cell of 1.25″ × 0.625″.
const maxLocator = 10

// Smallest cell, in units: 360° and 180° in 18·10·24·10·24 = 1,036,800 parts.
const (
	cellsPerTurn = 18 * 10 * 24 * 10 * 24
	cellLon      = 2 * maxLon / cellsPerTurn
	cellLat      = 2 * maxLat / cellsPerTurn
)

// level describes one pair: its base, its first letter or digit as written
// (field letters upper, the others lower case, as is usual: JN58td25xe), and
// how many smallest cells one step of it spans.
type level struct {
	base  int64
	first byte
	steps int64
}

var levels = [maxLocator / 2]level{
	{18, 'A', 10 * 24 * 10 * 24},
	{10, '0', 24 * 10 * 24},
	{24, 'a', 10 * 24},
	{10, '0', 24},
	{24, 'a', 1},
}

// wholePairs gives the number of characters used for a wish of n: the even
// number not above it, 0 to 10.
func wholePairs(n int) int { return min(max(n, 0), maxLocator) &^ 1 }

// AppendLocator appends the locator of p with n characters (2, 4, 6, 8 or 10;
// other values give the next lower of these, below 2 nothing) and does not
// allocate if dst has room.
func (p Point) AppendLocator(dst []byte, n int) []byte {
	x := uint32((p.lon + maxLon) / cellLon)
	y := min(uint32((p.lat+maxLat)/cellLat), cellsPerTurn-1) // +90: top row
	// Divisors that the compiler knows: three times as fast as a loop over levels.
	return append(dst, []byte{
		'A' + byte(x/(10*24*10*24)), 'A' + byte(y/(10*24*10*24)),
		'0' + byte(x/(24*10*24)%10), '0' + byte(y/(24*10*24)%10),
		'a' + byte(x/(10*24)%24), 'a' + byte(y/(10*24)%24),
		'0' + byte(x/24%10), '0' + byte(y/24%10),
		'a' + byte(x%24), 'a' + byte(y%24),
	}[:wholePairs(n)]...)
}

// Locator is the locator of p with n characters, as AppendLocator.
func (p Point) Locator(n int) string {
	var buf [maxLocator]byte
	return string(p.AppendLocator(buf[:0], n))
}

// SyntaxError says what is wrong with a text and where.
type SyntaxError struct {
	Offset int    // in bytes from the start of the text; its length if something is missing at the end
	Reason string // plain English, without the text itself

	column int // in characters from 1; 0: Offset+1
}

func (e *SyntaxError) Error() string {
	column := e.column
	if column == 0 {
		column = e.Offset + 1
	}
	return fmt.Sprintf("grid: %s (at character %d)", e.Reason, column)
}

// Parse reads a locator of 2, 4, 6, 8 or 10 characters, in upper or lower
// case, without blanks. Anything else is a *SyntaxError.
func Parse(s string) (Cell, error) {
	x, y, err := parseSteps(s)
	if err != nil {
		return Cell{}, err
	}
	return newCell(x, y, len(s)), nil
}

// parseSteps gives the south-west corner of the cell in smallest cells.
func parseSteps(s string) (x, y int64, err *SyntaxError) {
	for i := 0; i < len(s); i++ {
		if i == maxLocator {
			return 0, 0, fail(i, "a locator has at most 10 characters")
		}
		l := &levels[i/2]
		c := s[i]
		if l.first != '0' && c|0x20 >= 'a' && c|0x20 <= 'z' {
			c = c&^0x20 | l.first&0x20 // to the level's own case
		}
		d := int64(c) - int64(l.first)
		if d < 0 || d >= l.base {
			last := l.first&^0x20 + byte(l.base-1)
			if l.first == '0' {
				return 0, 0, fail(i, "here a locator has a digit")
			}
			return 0, 0, fail(i, "here a locator has a letter from A to %c", last)
		}
		if i%2 == 0 {
			x += d * l.steps
		} else {
			y += d * l.steps
		}
	}
	if len(s) == 0 || len(s)%2 != 0 {
		return 0, 0, fail(len(s), "a locator has 2, 4, 6, 8 or 10 characters")
	}
	return x, y, nil
}
