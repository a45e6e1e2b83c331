package grid

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Texts that no careful reader would act on, and where the fault is.
func TestParsePlaceRefuses(t *testing.T) {
	for _, c := range []struct {
		in     string
		offset int
	}{
		{"", 0}, {"   ", 3}, {"x", 0}, {strings.Repeat("1", 201), 200}, {"\xff\xfe", 0}, {"\x00", 0},
		// locators
		{"FG6", 3}, {"FG69 gu", 4}, {"  SG69", 2}, {"FG69gu18aa00", 10}, {"hello", 0}, {"Base", 0}, {"Berlin", 0}, {"Bay", 0}, {"locator Berlin", 8}, {"(FG6)", 4}, {"UTM 48.1, 11.2", 4}, {"MGRS 19K 544000 7773000", 5},
		// pairs: one half missing, or unclear where the other begins
		{"48.1", 4}, {"48.1,", 5}, {",11.6", 0}, {"48.1 8 11.6", 11}, {"48N", 3}, {"N48", 3}, {"48°8'", 6}, {"48:8:48", 7},
		{"20.13-67.49", 5}, {"1 2 3", 5},
		// decimal commas
		{"48,14666 11,60833", 11}, {"-20,13,-67,49", 6}, {"20,13; 67,49", 5},
		{"20°7'48,50", 8}, {"20 7,8", 4}, {"20 7 48,67 29 24", 7}, {"20:7,8S 67:29,4W", 13},
		{"48,5 11", 2}, {"48,5 11 30", 2}, {"48,5:11", 2}, {"48,5° 11", 2}, {"48,5N 11E", 2}, {"48 30,5N 11 15E", 5}, {"48,5 11,25", 7}, {"48,5N/11E", 5},
		{"48/11/3", 5}, {"48/11,3", 5}, {"Lat: 48,5 Lon: 11", 7}, {"48,11°", 2}, {"(48,5 11)", 3},
		// labels, hyphens, one number for degrees and minutes, ISO 6709
		{"Lat: 48.5", 9}, {"48.5 lat 11", 5}, {"Lat 48 Lat 11", 7}, {"lat: lon: 11", 12}, {"lat 48 lon 11 lat 3", 14}, {"Lat 48E Lon 11", 0}, {"lat 48N lon 11", 8}, {"19 deg 11", 9},
		{"48-30.5 011-15.0", 2}, {"48.5-30N 11E", 0}, {"48-60N 11E", 3}, {"48305N 01115E", 0}, {"4830N 1115E", 6}, {"4860N 01115E", 2}, {"9030N 01115E", 0},
		{"+4830+011/", 5}, {"+4860+01100/", 3}, {"+48.5+11.2CRSNAD27/", 10}, {"+48.5+11.2CRS/", 10}, {"+48.5+11.2CRS", 10}, {"+9130+01100/", 0}, {"+48.5/", 6}, {"+48305+011300/", 1},
		// numbers
		{"48., 11", 3}, {".5, 11", 0}, {"1e5, 11", 1}, {"0x10, 1", 1}, {"NaN,1", 0}, {"nan nan", 0}, {"inf, 1", 0}, {"- 20, 67", 0}, {"--20, 67", 0},
		{"1_0, 1", 1}, {"48.1.2, 11", 4}, {"4８, 11", 1},
		// range
		{"90.0000000000000000001, 0", 0}, {"-90.0000000000000000001, 0", 0}, {"0, 180.00000000000000000001", 3}, {"91, 0", 0},
		{"116.3, 44.6", 0}, {"1000, 1", 0}, {"0736.5, 01130", 0}, {"99999999999999999999,1", 0},
		// minutes and seconds
		{"48 60 11 36", 3}, {"48°60'N 11°36'E", 4}, {"48°8'60\"N 11°E", 6}, {"48.5°8'N 11°E", 0}, {"48°8.5'30\"N 11°E", 4},
		{"48'8N 11E", 2}, {"48°8\"N 11E", 5}, {"48°8 8\"N 11E", 6}, {"48:8:8:8N 11E", 7}, {"48°-8'N 11E", 4}, {"48:N 11E", 2}, {"48 100 11 36", 3},
		// letters
		{"48.1N 11.6", 6}, {"48.1, 11.6E", 0}, {"48.1N 11.6N", 6}, {"48E 11W", 4}, {"-48.1N 11.6E", 0}, {"48.1N +11.6E", 6},
		{"N48N E11", 5}, {"48.1N 11.6E 3", 10}, {"48 O 11 N", 3}, {"N E 48 11", 1}, {"48N,", 4},
		// UTM
		{"19K 5440 7773000", 4}, {"19K 544000", 10}, {"19K 544000 777300000", 11}, {"61K 544000 7773000", 0}, {"0K 544000 7773000", 0},
		{"19I 544000 7773000", 2}, {"19Z 544000 7773000", 2}, {"32X 500000 8500000", 0}, {"19K 544000 1773000", 11}, {"19K 544000 7290000", 11}, {"19K 544000 8250000", 11}, {"19S 544000 7773000", 11},
		{"19N 544000 7773000", 11}, {"19K 544000 7773000 1", 19}, {"19K 544000,7773000", 10}, {"19 north 544000 9900000", 16}, {"19 south 544000 100", 16},
		{"19K 999999 7773000", 4}, {"19K 99999.9 7773000", 4}, {"19K 900000 7773000", 4}, {"19 544000 7773000", 17}, {"19K 544000e5 7773000", 11},
		// MGRS
		{"19KIU44", 3}, {"19KEI44", 4}, {"19KEW44", 4}, {"19KEU4400073", 12}, {"19KBU440", 8}, {"19KBU 440 73", 12},
		{"19KBU440007300012", 17}, {"19KAU4400073000", 3}, {"19K", 2}, {"99KBU44", 0}, {"32XNH0000", 0}, {"ZAH0000000000", 0}, {"38SMV4488", 3},
		// geo URIs
		{"geo:", 4}, {"geo:1", 5}, {"geo:1,", 6}, {"geo:1,2,", 8}, {"geo:+1,2", 4}, {"geo:1, 2", 6}, {"geo:91,2", 4}, {"geo:1,181", 6},
		{"geo:1,2;crs=nad27", 12}, {"geo:1,2;u=-1", 10}, {"geo:1,2;u=1m", 11}, {"geo:1,2;u=", 10}, {"geo:1,2;u", 9}, {"geo:1,2;u=5;crs=wgs84", 12},
		{"geo:1,2;u=5;u=6", 12}, {"geo:1,2;", 8}, {"geo:1,2;a=b c", 11}, {"geo:1,2 3", 7}, {"geo:1,2;a=", 10}, {"geo:1,2;a=b;u=5", 12}, {"geo:1,2;crs=wgs84;a=b;u=5", 22},
	} {
		place, err := ParsePlace(c.in)
		var se *SyntaxError
		if !errors.As(err, &se) {
			t.Errorf("%q = %+v, %v; want a SyntaxError", c.in, place, err)
		} else if se.Offset != c.offset {
			t.Errorf("%q: offset %d, want %d (%v)", c.in, se.Offset, c.offset, err)
		}
	}
}

// One place in every form. The pairs of values are by hand; UTM and MGRS are
// examples on which the formulas were checked elsewhere (mgrs.csv).
func TestParsePlace(t *testing.T) {
	const lat, lon = -(20 + 7.8/60), -(67 + 29.4/60)
	for _, c := range []struct {
		in   string
		form string
		lat  float64
		lon  float64
		tol  float64 // metres
	}{
		{"-20.13,-67.49", "degrees", lat, lon, 0}, {" -20.13 , -67.49 \n", "degrees", lat, lon, 0}, {"-20.13 -67.49", "degrees", lat, lon, 0},
		{"-20.13-67.49", "degrees", lat, lon, 0}, {"−20.13°, −67.49°", "degrees", lat, lon, 0}, {"20.13S 67.49W", "degrees", lat, lon, 0},
		{"67.49W 20.13S", "degrees", lat, lon, 0}, {"s20.13, w67.49", "degrees", lat, lon, 0}, {"20.13 S, 67.49 W", "degrees", lat, lon, 0},
		{"W 67.49 S 20.13", "degrees", lat, lon, 0}, {"W67.49S20.13", "degrees", lat, lon, 0}, {"20°07.8'S 67°29.4'W", "degrees", lat, lon, 0},
		{"S020 07.800 W067 29.400", "degrees", lat, lon, 0}, {"20 07.8 S 67 29.4 W", "degrees", lat, lon, 0}, {"-20 07.8 -67 29.4", "degrees", lat, lon, 0},
		{"-20 7 48 -67 29 24", "degrees", lat, lon, 0}, {"20:07:48S 67:29:24W", "degrees", lat, lon, 0}, {"-20:07:48 -67:29:24", "degrees", lat, lon, 0},
		{"20°07′48″S, 67°29′24″W", "degrees", lat, lon, 0}, {"20º07’48”S 67º29’24”W", "degrees", lat, lon, 0}, {"20° 7' 48'' S 67° 29' 24'' W", "degrees", lat, lon, 0},
		{"-20°7.8' -67°29.4'", "degrees", lat, lon, 0}, {"-20°7'48\", -67.49", "degrees", lat, lon, 0}, {"-20 7 48,-67 29 24", "degrees", lat, lon, 0}, {"-20 7.8,-67.49", "degrees", lat, lon, 0}, {"20 7 48S,67 29 24W", "degrees", lat, lon, 0}, {"20°07.8S 67°29.4W", "degrees", lat, lon, 0},
		{"-20\u00a07.8\u2009-67 29.4", "degrees", lat, lon, 0},
		{"geo:-20.13,-67.49", "geo", lat, lon, 0}, {"GEO:-20.13,-67.49,3656;crs=WGS84;u=9;x-y=1", "geo", lat, lon, 0},
		{"geo:48.198634,16.371648;crs=wgs84;u=40", "geo", 48.198634, 16.371648, 0}, // the RFC's own example
		{"geo:90,-22.43;crs=WGS84", "geo", 90, 0, 0},                               // as RFC 5870 section 3.4.2 has it: equal to geo:90,46
		{"geo:66,-180", "geo", 66, -180, 0}, {"geo:66,180", "geo", 66, -180, 0},
		{"FG69gu18", "locator", -20 - 8.0/60 + 1.0/480, -67.4916666666666 + 1.0/240, 0.1},
		{"jn58", "locator", 48.5, 11, 0}, {"RR", "locator", 85, 170, 0},
		{"2007.8S 06729.4W", "degrees", lat, lon, 0}, {"2007.80S/06729.40W", "degrees", lat, lon, 0}, {"S2007.8 W06729.4", "degrees", lat, lon, 0}, {"67W 2000S", "degrees", -20, -67, 0}, {"20S 06700W", "degrees", -20, -67, 0}, {"20 S 0670000 W", "degrees", -20, -67, 0}, {"200748S 0672924W", "degrees", lat, lon, 0},
		{"20-07.8S 067-29.4W", "degrees", lat, lon, 0}, {"20-07-48S, 067-29-24W", "degrees", lat, lon, 0}, {"W067–29.4 S20–07.8", "degrees", lat, lon, 0}, {"20.13S/67.49W", "degrees", lat, lon, 0}, {"-20.13 / -67.49", "degrees", lat, lon, 0},
		{"20.13 South 67.49 West", "degrees", lat, lon, 0}, {"20.13 degrees south, 67.49 degrees west", "degrees", lat, lon, 0}, {"20 deg 7.8 min S 67 deg 29.4 min W", "degrees", lat, lon, 0},
		{"Lat: -20.13 Lon: -67.49", "degrees", lat, lon, 0}, {"lon=-67.49, lat=-20.13", "degrees", lat, lon, 0}, {"Latitude 20°07.8' S, Longitude 67°29.4' W", "degrees", lat, lon, 0}, {"LAT. 20.13S / LONG. 67.49W", "degrees", lat, lon, 0},
		{"(-20.13, -67.49)", "degrees", lat, lon, 0}, {"[ -20.13 -67.49 ]", "degrees", lat, lon, 0}, {"position: (20.13S, 67.49W)", "degrees", lat, lon, 0},
		{"-20.13-067.49/", "degrees", lat, lon, 0}, {"-2007.8-06729.4/", "degrees", lat, lon, 0}, {"-200748-0672924/", "degrees", lat, lon, 0}, {"-2007.8-06729.4", "degrees", lat, lon, 0}, {"-20.13-067.49+3656CRSWGS_84/", "degrees", lat, lon, 0},
		{"UTM 38 north 444140.54mE 3684706.36mN", "utm", 33.3, 44.4, 0.01}, {"UTM zone 38S 444140.54 3684706.36", "utm", 33.3, 44.4, 0.01}, {"MGRS: 38SMB 44140 84706", "mgrs", 33.3, 44.4, 1}, {"UTM 38SMB4414084706", "mgrs", 33.3, 44.4, 1}, {"(38SMB4414084706)", "mgrs", 33.3, 44.4, 1},
		{"Locator FG69gu18", "locator", -20 - 8.0/60 + 1.0/480, -67.4916666666666 + 1.0/240, 0.1}, {"<jn58>", "locator", 48.5, 11, 0},
		{"0,180", "degrees", 0, -180, 0}, {"90,180", "degrees", 90, -180, 0}, {"-0, -0", "degrees", 0, 0, 0}, {"20 13", "degrees", 20, 13, 0},
		{"38S 444140.54 3684706.36", "utm", 33.3, 44.4, 0.01}, {"38 north 444140.54mE 3684706.36mN", "utm", 33.3, 44.4, 0.01},
		{"38SMB4484", "mgrs", 33.3, 44.4, 710}, {"38SMB4488", "mgrs", 33.33, 44.4, 710}, {"38s mb 44140 84706", "mgrs", 33.3, 44.4, 1}, {"38 S MB 44140 84706", "mgrs", 33.3, 44.4, 1},
	} {
		got, err := ParsePlace(c.in)
		if err != nil {
			t.Errorf("%q: %v", c.in, err)
			continue
		}
		want := mustDegrees(t, c.lat, c.lon)
		if d := distance(got.Point, want); got.Form != c.form || c.tol > 0 && d > c.tol || c.tol == 0 && got.Point != want {
			t.Errorf("%q: %s at %v, %g m off", c.in, got.Form, got.Point, d)
		}
	}
}

// UTM and MGRS of the whole table, read back. Source: testdata/grid/mgrs.csv.
func TestParsePlaceMGRSTable(t *testing.T) {
	for _, row := range readTable(t, "mgrs.csv", 500) {
		p := mustDegrees(t, number(t, row[0]), number(t, row[1]))
		hemisphere := map[byte]string{'n': "north", 's': "south"}[row[3][len(row[3])-1]]
		zone := row[3][:len(row[3])-1]
		if zone == "" {
			if got, err := ParsePlace(row[2]); err == nil {
				t.Errorf("%s = %+v, want no UTM here", row[2], got)
			}
			continue
		}
		for text, tol := range map[string]float64{
			row[2]: 0.72, // half the diagonal of a square of 1 m
			zone + " " + hemisphere + " " + row[4] + " " + row[5]: 0.001,
			row[2][:3] + " " + row[4] + "E " + row[5] + "N":       0.001,
			row[2][:5]:                 71e3,
			row[2][:7] + row[2][10:12]: 710,
			strings.ToLower(row[2][:5]) + " " + row[2][5:10] + " " + row[2][10:]: 0.72,
		} {
			got, err := ParsePlace(text)
			if err != nil {
				t.Errorf("%v: %q: %v", row, text, err)
			} else if d := distance(got.Point, p); d > tol || d > got.ReachM+0.001 {
				t.Errorf("%v: %q is %v, %g m off", row, text, got.Point, d)
			}
		}
	}
}

func TestParsePlaceSaysMore(t *testing.T) {
	for _, c := range []struct {
		in     string
		length int
		u      float64
		note   string
	}{
		{"geo:1,2;u=8", 10, 8, ""}, {"geo:1,2;u=40.5", 8, 40.5, ""}, {"geo:1,2;u=0", 10, 0, ""}, {"geo:1,2;u=99999999", 2, 99999999, ""},
		{"geo:1,2", 10, -1, ""}, {"JN58", 4, -1, ""}, {"38SMB4488", 6, -1, ""}, {"38SMB", 4, -1, ""}, {"38SMB4414084706", 10, -1, ""},
		{"38S 444140 3684706", 10, -1, "band S"}, {"38 south 444140 3684706", 10, -1, ""}, {"38 north 100001 3684706", 10, -1, "zone is 37"},
		{"1,2", 10, -1, ""},
	} {
		got, err := ParsePlace(c.in)
		if err != nil || got.Length != c.length || got.UncertaintyM != c.u ||
			!strings.Contains(got.Note, c.note) || (c.note == "") != (got.Note == "") {
			t.Errorf("%q: %+v, %v", c.in, got, err)
		}
	}
}

func TestFormats(t *testing.T) {
	for _, c := range []struct {
		lat, lon         float64
		decimal, dm, dms string
		geo              string
	}{
		{-20.13, -67.49, "-20.130000, -67.490000", "20°07.8000'S 067°29.4000'W", `20°07'48.00"S 067°29'24.00"W`, "geo:-20.13,-67.49"},
		{0, 0, "0.000000, 0.000000", "00°00.0000'N 000°00.0000'E", `00°00'00.00"N 000°00'00.00"E`, "geo:0,0"},
		{-1e-9, -1e-9, "0.000000, 0.000000", "00°00.0000'S 000°00.0000'W", `00°00'00.00"S 000°00'00.00"W`, "geo:-0.000000001,-0.000000001"},
		{1 - 1e-9, 59.999999999, "1.000000, 60.000000", "01°00.0000'N 060°00.0000'E", `01°00'00.00"N 060°00'00.00"E`, "geo:0.999999999,59.999999999"},
		{90, 180, "90.000000, -180.000000", "90°00.0000'N 180°00.0000'W", `90°00'00.00"N 180°00'00.00"W`, "geo:90,0"},
	} {
		p := mustDegrees(t, c.lat, c.lon)
		for _, s := range [][2]string{{p.Decimal(), c.decimal}, {p.DM(), c.dm}, {p.DMS(), c.dms}, {p.Geo(-1), c.geo}, {p.Geo(math.NaN()), c.geo}} {
			if s[0] != s[1] {
				t.Errorf("%v, %v: %s, want %s", c.lat, c.lon, s[0], s[1])
			}
		}
	}
}

// A geo URI has no more decimals than its uncertainty bears, and that holds what they cut.
func TestGeoDecimals(t *testing.T) {
	p := mustDegrees(t, -20.123456789, -67.987654321)
	for u, want := range map[float64]string{
		0: "geo:-20.123456789,-67.987654321;u=0", 0.4: "geo:-20.1234568,-67.9876543;u=1", 4.6: "geo:-20.123457,-67.987654;u=5", 5: "geo:-20.123457,-67.987654;u=6",
		8.2: "geo:-20.12346,-67.98765;u=9", 1000: "geo:-20.123,-67.988;u=1063", 100e3: "geo:-20.1,-68;u=102901",
	} {
		if got := p.Geo(u); got != want {
			t.Errorf("± %v m: %s, want %s", u, got, want)
		}
	}
	if got := mustDegrees(t, -20.13, -67.49).Geo(5); got != "geo:-20.13,-67.49;u=5" {
		t.Error(got)
	}
	rapid.Check(t, func(t *rapid.T) {
		p, u := drawPoint(t), math.Exp(rapid.Float64Range(-3, 14).Draw(t, "ln u"))
		if got, err := ParsePlace(p.Geo(u)); err != nil || distance(got.Point, p)+u > got.UncertaintyM+1e-5 || distance(got.Point, p) > u/10+1e-4 {
			t.Fatalf("%s: %+v, %v", p.Geo(u), got, err)
		}
	})
}

// Whole metres of UTM are the metres of the MGRS square and of the UTM that they become.
func TestWholeMetresStay(t *testing.T) {
	for _, zone := range []string{"19K", "31N", "33W", "36D", "60X", "01M"} {
		for i := range 42 {
			east, north := 250_000+i*11_111, 0
			switch zone[2] {
			case 'K', 'M', 'D':
				north = map[byte]int{'K': 7_600_000, 'M': 9_500_000, 'D': 2_000_000}[zone[2]] + i*3_217
			default:
				north = map[byte]int{'N': 100_000, 'W': 7_300_000, 'X': 8_500_000}[zone[2]] + i*3_217
			}
			text := fmt.Sprintf("%s %d %d", zone, east, north)
			got, err := ParsePlace(text)
			if err != nil {
				t.Fatal(err)
			}
			back, ok := got.Point.UTM()
			square, _ := got.Point.MGRS()
			if got.Note != "" {
				continue // outside of its zone
			}
			if want := fmt.Sprintf("%05d%05d", east%100_000, north%100_000); !ok || back != text || square[5:] != want {
				t.Errorf("%s became %s and %s", text, back, square)
			}
			middle, err := ParsePlace(square)
			if again, _ := middle.Point.UTM(); err != nil || again != text {
				t.Errorf("%s became %s, %v", square, again, err)
			}
		}
	}
}

// Law: what we write, we read back as the same place, to the figures written.
func TestFormatParseIdentity(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawPoint(t)
		check := func(text, form string, tol float64) {
			got, err := ParsePlace(text)
			if err != nil {
				t.Errorf("%v: %q: %v", p, text, err)
			} else if d := distance(got.Point, p); got.Form != form || d > tol {
				t.Errorf("%v: %q is %s %v, %g m off", p, text, got.Form, got.Point, d)
			}
		}
		check(p.Decimal(), "degrees", 0.08)
		check(p.DM(), "degrees", 0.14)
		check(p.DMS(), "degrees", 0.22)
		check(p.Geo(-1), "geo", 1e-4)
		for n := 2; n <= 10; n += 2 {
			if got, err := ParsePlace(p.Locator(n)); err != nil || got.Point.Locator(n) != p.Locator(n) || got.Length != n {
				t.Errorf("%s: %+v, %v", p.Locator(n), got, err)
			}
		}
		if text, ok := p.UTM(); ok {
			check(text, "utm", 0.72)
		}
		if text, ok := p.MGRS(); ok {
			check(text, "mgrs", 0.72)
			got, _ := ParsePlace(text)
			if again, ok := got.Point.MGRS(); ok && again[:3] == text[:3] && again != text {
				t.Errorf("%s came back as %s", text, again)
			}
			for _, digits := range []int{0, 1, 2, 3, 4} {
				part := text[:5+digits] + text[10:10+digits]
				check(part, "mgrs", 0.72*math.Pow10(5-digits))
			}
		}
	})
}

// What we write for a place hard by a zone's border reads back without a note
// and without a refusal, though rounding may have put it across, and though a
// square there has only a sliver in the zone.
func TestBesideZoneBorders(t *testing.T) {
	for lat := -79.9; lat < 84; lat += 0.37 {
		for _, lon := range []float64{-180, -90, 0, 3, 6, 9, 12, 21, 33, 42, 174} {
			for _, d := range []float64{-1e-9, 0} {
				if lon+d < -180 {
					continue
				}
				p := mustDegrees(t, lat, lon+d)
				text, _ := p.UTM()
				got, err := ParsePlace(text)
				if band := text[2]; err != nil || (got.Note != "") != (band == 'S') {
					t.Errorf("%v %s: %+v, %v", p, text, got, err)
				}
				text, _ = p.MGRS()
				for _, digits := range []int{0, 1, 2, 3, 4, 5} {
					if _, err := ParsePlace(text[:5+digits] + text[10:10+digits]); err != nil {
						t.Errorf("%v %s with %d digits: %v", p, text, digits, err)
					}
				}
			}
		}
	}
}

// Law: a decimal text of any length lies in the cell that its exact value lies
// in: here 50 digits just below and on a border.
func TestExactText(t *testing.T) {
	nines := strings.Repeat("9", 50)
	for _, c := range [][2]string{
		{"9." + nines + ", 19." + nines, "JJ99xx99xx"},
		{"10, 20", "KK00aa00aa"},
		{"-0." + strings.Repeat("0", 50) + "1, -0." + strings.Repeat("0", 50) + "1", "II99xx99xx"},
		{"64.4720209, 39.9576370", "KP94xl43vg"},
		{"0°02.5'N 0°05'E", "JJ00bb00aa"},
		{"0°02.4" + nines + "'N 0°04." + nines + "'E", "JJ00aa99xx"},
		{"0°0'0.625\"S 0°0'1.25\"W", "II99xx99xx"},
		{"0°0'0.62500000000000000001\"S 0°0'1.25000000000000000001\"W", "II99xx99ww"},
	} {
		got, err := ParsePlace(c[0])
		if err != nil || got.Point.Locator(10) != c[1] {
			t.Errorf("%s: %s, %v; want %s", c[0], got.Point.Locator(10), err, c[1])
		}
	}
}
