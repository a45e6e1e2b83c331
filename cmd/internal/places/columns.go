package places

import (
	"encoding/csv"
	"errors"
	"strings"
)

// Columns of a list that begins with a header: name,lat,lon or locator,name in any order
// and with others between, separated by commas, semicolons or tabs.

// columns tells where in a line to find the place and its name; −1 = nowhere.
type columns struct {
	separator           byte
	lat, lon, loc, name int
}

var columnNames = map[string]func(*columns) *int{
	"lat": (*columns).latitude, "latitude": (*columns).latitude, "lat_deg": (*columns).latitude,
	"lon": (*columns).longitude, "long": (*columns).longitude, "lng": (*columns).longitude, "longitude": (*columns).longitude, "lon_deg": (*columns).longitude,
	"locator": (*columns).locator, "grid": (*columns).locator, "place": (*columns).locator,
	"name": (*columns).label,
}

func (c *columns) latitude() *int  { return &c.lat }
func (c *columns) longitude() *int { return &c.lon }
func (c *columns) locator() *int   { return &c.loc }
func (c *columns) label() *int     { return &c.name }

// headerOf reads a header; nil for a line that is none.
func headerOf(line string) *columns {
	for _, separator := range []byte{',', ';', '\t'} {
		c := &columns{separator: separator, lat: -1, lon: -1, loc: -1, name: -1}
		fields, err := c.cut(line)
		if err != nil || len(fields) < 2 {
			continue
		}
		for i, f := range fields {
			if at := columnNames[strings.ToLower(strings.TrimSpace(f))]; at != nil && *at(c) < 0 {
				*at(c) = i
			}
		}
		if c.lat >= 0 && c.lon >= 0 || c.loc >= 0 {
			return c
		}
	}
	return nil
}

// cut divides a line at its separators; quotes as in RFC 4180.
func (c *columns) cut(line string) ([]string, error) {
	line = strings.TrimSuffix(line, "\r")
	if strings.IndexByte(line, '"') < 0 {
		return strings.Split(line, string(c.separator)), nil
	}
	r := csv.NewReader(strings.NewReader(line))
	r.Comma, r.FieldsPerRecord, r.TrimLeadingSpace = rune(c.separator), -1, true
	return r.Read()
}

var errColumns = errors.New("the line has too few columns")

// place gives the place and its name in a line. A comma in a column for one number is a
// decimal comma: nothing else can be meant.
func (c *columns) place(line string) (place, name string, err error) {
	fields, err := c.cut(line)
	if err != nil {
		return "", "", err
	}
	field := func(i int) string {
		if i < 0 || i >= len(fields) {
			return ""
		}
		return strings.TrimSpace(fields[i])
	}
	name = field(c.name)
	if place = field(c.loc); place != "" {
		return place, name, nil
	}
	lat, lon := field(c.lat), field(c.lon)
	if lat == "" || lon == "" {
		return "", name, errColumns
	}
	return pointed(lat) + "," + pointed(lon), name, nil
}

// pointed writes the one decimal comma of a number as a point.
func pointed(number string) string {
	if strings.Count(number, ",") == 1 && !strings.Contains(number, ".") {
		return strings.Replace(number, ",", ".", 1)
	}
	return number
}
