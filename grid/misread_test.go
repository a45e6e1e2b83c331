package grid

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// A place that is read wrongly without a word is worse than one refused. Here a
// second reader, written another way (regular expressions and floating point, from
// the documentation of ParsePlace alone), says what a text can mean at all, and the
// first must have understood that; and the same place written in another order or
// form must be the same place.

func FuzzParsePlace(f *testing.F) {
	for _, s := range []string{
		"", "FG69gu18", "-20.13,-67.49", "20°07.8'S 67°29.4'W", "S20 7 48 W67 29 24", "20:07:48S 67:29:24W",
		"19K 544000 7773000", "19 south 544000 7773000", "19KEU4400073000", "38S MB 44 88", "geo:1,2,3;crs=wgs84;u=4;a=b",
		"20° 7' 48'' S 67° 29' 24'' W", "−1 −2", "+1.5+2.5", "32VJH2604922336", "ZAH00", "1e5,2", "60XZZ", "geo:90,5;u",
		"48,5 11", "4830.50N/01115.00E", "48-30.5N 011-15.0E", "48.5 North 11.2 degrees West", "Lat: -48.5 Lon: 11.2", "lon=11.2W, lat=3.5S", "(48.5, 11.2)",
		"+48.5+011.2/", "-4830.5-01115.0+20CRSWGS_84/", "UTM zone 19K 544000 7773000", "Locator FG69", "lon -3 lat 4",
		"67°29.4'W 20°07.8'S", "W67 29 24, S20 7 48", "-20 7 48 -67 29 24", "20.13S067.49W", "-20°7'48\", -67.49", "31N 400000mE 0mN",
		"19K 544000.5m E 7773000.25m N", "0.00000000000000000000000001S, 0E", "89 59 59.9999999999N 179 59 59.9999999999W", "90S 180W",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		place, err := ParsePlace(s)
		if err != nil {
			var se *SyntaxError
			if !errors.As(err, &se) || se.Offset < 0 || se.Offset > len(s) || se.Reason == "" {
				t.Fatalf("%q: %#v", s, err)
			}
			return
		}
		if lat, lon := place.Point.LatLon(); !(math.Abs(lat) <= 90 && lon >= -180 && lon < 180) ||
			place.Length < 2 || place.Length > 10 || place.Length%2 != 0 {
			t.Fatalf("%q: %+v", s, place)
		}
		if _, plain := plainPair(s); plain {
			if full, err := parseLatLon(s); err != nil || full != place {
				t.Fatalf("%q: %+v, by the full reader %+v, %v", s, place, full, err)
			}
		}
		if fault := misread(s, place); fault != "" {
			t.Fatalf("%q: %+v: %s", s, place, fault)
		}
		if fault := written(place.Point); fault != "" {
			t.Fatalf("%q: %+v: %s", s, place, fault)
		}
		// Blanks around and the case of letters never change the meaning.
		if up, err := ParsePlace(" " + strings.ToUpper(s) + "\t"); len(s) < 190 && (err != nil || up.Point != place.Point) {
			t.Fatalf("%q: %+v, in capitals %+v, %v", s, place, up, err)
		}
	})
}

// written reads every form in which p is printed and says which is another place.
func written(p Point) string {
	utmText, _ := p.UTM()
	mgrsText, _ := p.MGRS()
	for _, w := range []struct {
		text, form string
		tolM       float64 // half the diagonal of what the last digit spans
	}{
		{p.Geo(-1), "geo", 1e-4}, {p.Decimal(), "degrees", 0.08}, {p.DM(), "degrees", 0.14}, {p.DMS(), "degrees", 0.22},
		{utmText, "utm", 0.72}, {mgrsText, "mgrs", 0.72}, {p.Locator(10), "locator", 25},
	} {
		if w.text == "" {
			continue // no UTM here
		}
		got, err := ParsePlace(w.text)
		if err != nil || got.Form != w.form || distance(got.Point, p) > w.tolM {
			return fmt.Sprintf("printed as %q, which is %+v, %v", w.text, got, err)
		}
	}
	return ""
}

var (
	numeral  = regexp.MustCompile(`[0-9]+(\.[0-9]+)?`)
	geoShape = regexp.MustCompile(`^(?i:geo):(-?[0-9.]+),(-?[0-9.]+)`)
	utmShape = regexp.MustCompile(`^(?i)([0-9]+)\s*([a-z]|north|south)\s*([0-9.]+)\s*m?\s*e?\s+([0-9.]+)\s*m?\s*n?$`)
)

// misread says how place differs from what the text can mean.
func misread(text string, place Place) string {
	text = bare(text)
	lat, lon := place.Point.LatLon()
	switch place.Form {
	case "locator":
		if !strings.EqualFold(place.Point.Locator(len(text)), text) {
			return "another locator"
		}
	case "geo":
		m := geoShape.FindStringSubmatch(text)
		if m == nil || math.Abs(float(m[1])-lat) > 1e-9 || math.Abs(lat) != 90 && turn(float(m[2]), lon) > 1e-9 {
			return "other numbers"
		}
	case "utm":
		m := utmShape.FindStringSubmatch(strings.Join(strings.FieldsFunc(text, isBlank), " "))
		if m == nil {
			return "no UTM"
		}
		zone, _ := strconv.Atoi(m[1])
		if e, n := inZone(zone, place.Point); math.Abs(e-float(m[3])) > 0.001 || math.Abs(math.Remainder(n-float(m[4]), falseNorthing)) > 0.001 {
			return fmt.Sprintf("zone %d, %.4f %.4f", zone, e, n)
		}
		if south := strings.EqualFold(m[2], "south") || len(m[2]) == 1 && upper(m[2][0]) < 'N'; south != (lat < 0) && math.Abs(lat) > 1e-5 {
			return "other hemisphere"
		}
	case "mgrs":
		return misreadSquare(strings.ToUpper(strings.Join(strings.FieldsFunc(text, isBlank), "")), place.Point)
	case "degrees":
		return misreadDegrees(plainly(text), place.Point)
	default:
		return "no form"
	}
	return ""
}

func float(s string) float64 {
	v, _ := strconv.ParseFloat(s, 64)
	return v
}

// inZone gives easting and northing of p in a zone; the northing is negative in
// the south.
func inZone(zone int, p Point) (east, north float64) {
	lat, lon := p.LatLon()
	x, y := project(lat, math.Remainder(lon-float64(centralMeridian(zone)), 360))
	return falseEasting + utmScale*x, utmScale * y
}

// misreadSquare writes the square that p is the middle of, in the zone of the text.
func misreadSquare(text string, p Point) string {
	n := strings.IndexFunc(text, func(r rune) bool { return r > '9' })
	zone, _ := strconv.Atoi(text[:n])
	digits := (len(text) - n - 3) / 2
	east, north := inZone(zone, p)
	side := math.Pow10(5 - digits)
	column := columnLetters[(zone-1)%3][int(east/1e5)-1]
	north = math.Mod(north+falseNorthing, rowPeriod) // falseNorthing is five periods
	row := rowLetters[rowIndex(zone, int(north))]
	want := fmt.Sprintf("%c%c", column, row)
	if digits > 0 {
		want += fmt.Sprintf("%0*d%0*d", digits, int(math.Mod(east, 1e5)/side), digits, int(math.Mod(north, 1e5)/side))
	}
	if got := text[n+1:]; got != want {
		return "the middle is in " + want
	}
	return ""
}

// misreadDegrees looks for a way to divide the numbers of the text between the two
// coordinates that gives p, and checks signs and letters against it; then it
// writes those coordinates in other orders and forms.
func misreadDegrees(text string, p Point) string {
	numbers := numeral.FindAllString(text, -1)
	letters := strings.ToUpper(regexp.MustCompile(`[A-Za-z]`).ReplaceAllStringFunc(regexp.MustCompile(`[^A-Za-z]`).ReplaceAllString(text, ""), strings.ToUpper))
	lat, lon := p.LatLon()
	if len(letters) != 0 && len(letters) != 2 {
		return "letters " + letters
	}
	fault := "no division of the numbers gives this"
	lonFirst := letters != "" && strings.ContainsAny(letters[:1], "EW")
	if strings.HasPrefix(text, lonFirstMark) {
		text, lonFirst = strings.TrimPrefix(text, lonFirstMark), letters == "" || lonFirst
	}
	for k := 1; k < len(numbers); k++ {
		first, second := numbers[:k], numbers[k:]
		if len(first) > 3 || len(second) > 3 {
			continue
		}
		if lonFirst {
			first, second = second, first
		}
		if math.Abs(sum(first)-math.Abs(lat)) < 1e-9 && (math.Abs(sum(second)-math.Abs(lon)) < 1e-9) {
			if fault = misreadSigns(text, letters, first, second, lonFirst, p); fault == "" {
				return ""
			}
		}
	}
	return fault
}

func sum(parts []string) (v float64) {
	for i, s := range parts {
		v += float(s) / math.Pow(60, float64(i))
	}
	return v
}

var minuses = regexp.MustCompile(`[-−–]`)

// misreadSigns: the parts of latitude and longitude are known, but for the signs.
func misreadSigns(text, letters string, latParts, lonParts []string, lonFirst bool, p Point) string {
	south, west := strings.Contains(letters, "S"), strings.Contains(letters, "W")
	if signs := minuses.FindAllStringIndex(text, -1); letters == "" {
		begin := numeral.FindStringIndex(text)[0]
		south = len(signs) > 0 && signs[0][0] < begin
		west = len(signs) == 2 || len(signs) == 1 && !south
		if lonFirst {
			south, west = west, south
		}
	} else if len(signs) > 0 {
		return "a sign beside letters"
	}
	lat, lon := p.LatLon()
	if lat < 0 && !south || lat > 0 && south || lon < 0 && !west && lon != -180 || lon > 0 && west {
		return "wrong sign"
	}
	ns, ew := "N", "E"
	if south {
		ns = "S"
	}
	if west {
		ew = "W"
	}
	signed := func(parts []string, neg bool) string {
		return map[bool]string{true: "-", false: "+"}[neg] + strings.Join(parts, " ")
	}
	a, b := strings.Join(latParts, " "), strings.Join(lonParts, " ")
	for _, other := range []string{
		a + ns + " " + b + ew, b + ew + " " + a + ns, ns + a + " " + ew + b, ew + " " + b + ", " + ns + " " + a,
		strings.Join(latParts, ":") + ns + "," + strings.Join(lonParts, ":") + ew, marked(lonParts) + ew + marked(latParts) + ns,
		signed(latParts, south) + ", " + signed(lonParts, west), marked(latParts) + ns + " " + marked(lonParts) + ew,
	} {
		if got, err := ParsePlace(other); len(other) <= maxPlace && (err != nil || got.Point != p) {
			return fmt.Sprintf("but %q is %+v, %v", other, got, err)
		}
	}
	return ""
}

// marked writes 20 7 48 as 20°7′48″.
func marked(parts []string) (s string) {
	for i, part := range parts {
		s += part + string([]rune("°′″")[i])
	}
	return s
}

// The second reader must see a fault where there is one.
func TestMisreadBites(t *testing.T) {
	for text, wrong := range map[string]Place{
		"FG69gu":              {Form: "locator", Point: mustDegrees(t, -20.13, -67.59)},
		"geo:1,2":             {Form: "geo", Point: mustDegrees(t, 2, 1)},
		"19K 544000 7773000":  {Form: "utm", Point: mustDegrees(t, -20.13, -67.49)},
		"38SMB4488":           {Form: "mgrs", Point: mustDegrees(t, 33.3, 44.4)},
		"48 8 11":             {Form: "degrees", Point: mustDegrees(t, 48, 8)},
		"48 8 11 36":          {Form: "degrees", Point: mustDegrees(t, 48.8, 11.36)},
		"-48.1 11.6":          {Form: "degrees", Point: mustDegrees(t, 48.1, 11.6)},
		"48.1N 11.6W":         {Form: "degrees", Point: mustDegrees(t, 48.1, 11.6)},
		"11.6E 48.1N":         {Form: "degrees", Point: mustDegrees(t, 11.6, 48.1)},
		"20 south 544000 100": {Form: "utm", Point: mustDegrees(t, 0.0009, -62.6)},
	} {
		if misread(text, wrong) == "" {
			t.Errorf("%q as %+v passes", text, wrong)
		}
	}
}
