package gnss

import (
	"fmt"
	"maps"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// sum gives a sentence its checksum and line end. The argument begins with the
// start character.
func sum(s string) string {
	var x byte
	for i := 1; i < len(s); i++ {
		x ^= s[i]
	}
	return fmt.Sprintf("%s*%02X\r\n", s, x)
}

// decode feeds s in one piece, then silence, and returns what came out.
func decode(cfg Config, s string) ([]Epoch, *Decoder) {
	d := NewDecoder(cfg)
	d.Feed([]byte(s), timescale.Local(time.Hour))
	d.Flush(timescale.Local(time.Hour + time.Second))
	return drain(d), d
}

func drain(d *Decoder) []Epoch {
	var out []Epoch
	for {
		e, ok := d.Next()
		if !ok {
			return out
		}
		out = append(out, e)
	}
}

// The examples of facts on NMEA: the first two are universally quoted, the ZDA is
// a manual's, the two of 235960 were recorded on 1998-12-31 (sci.geo.satellite-nav).
const (
	exampleRMC = "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n"
	exampleGGA = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
	exampleZDA = "$GPZDA,201530.00,04,07,2002,00,00*60\r\n"
	leapRMC    = "$GPRMC,235960,A,4913.2303,N,12305.9333,W,000.0,169.8,311298,019.6,E*65\r\n"
	leapGGA    = "$GPGGA,235960,4913.2303,N,12305.9333,W,1,04,3.1,105.0,M,-17.6,M,,*76\r\n"
)

func TestFraming(t *testing.T) {
	long := sum("$GPTXT,01,01,02," + strings.Repeat("x", 300))
	rmc := strings.TrimSpace(exampleRMC)
	type skipped = map[string]uint64
	for _, c := range []struct {
		name      string
		in        string
		cfg       Config
		sentences uint64
		skipped   skipped
	}{
		{"wrong checksum", strings.Replace(exampleRMC, "*6A", "*6B", 1), Config{}, 0, skipped{"checksum": 1}},
		{"checksum of one digit", rmc[:len(rmc)-1] + "\r\n", Config{}, 0, skipped{"checksum": 1}},
		{"checksum that is no number", strings.Replace(exampleRMC, "*6A", "*G0", 1), Config{}, 0, skipped{"checksum": 1}},
		{"three digits", rmc + "1\r\n", Config{}, 0, skipped{"checksum": 1}},
		{"too long", long + exampleRMC, Config{}, 1, skipped{"too long": 1, "text outside sentences": 1}},
		{"no checksum after one with", exampleRMC + "$GPGGA,123519,,,,,0,,,,,,,,\r\n", Config{}, 1, skipped{"no checksum": 1}},
		{"no checksum, required", "$GPGGA,123519,,,,,0,,,,,,,,\r\n", Config{RequireChecksum: true}, 0, skipped{"no checksum": 1}},
		{"cut by the next", "$GPGGA,123519,4807.0" + exampleRMC, Config{}, 1, skipped{"cut short": 1}},
		{"binary inside", "$GPGGA,123519\xb5\x62\x01,4807\r\n" + exampleRMC, Config{}, 1, skipped{"binary": 2}},
		{"high bit set", strings.Replace(exampleRMC, "A,48", "\xc1,48", 1), Config{}, 0, skipped{"binary": 2}},
		{"NUL inside", strings.Replace(exampleRMC, "A,48", "\x00,48", 1), Config{}, 0, skipped{"binary": 2}},
		{"lower-case address", sum("$gpRMC,123519"), Config{}, 0, skipped{"malformed": 1}},
		{"empty sentence", sum("$"), Config{}, 0, skipped{"malformed": 1}},
		{"bare start character", "$\r\n", Config{}, 0, skipped{"malformed": 1}},
		{"escape and markup pass to nobody", sum("$GPTXT,<script>") + "\x1b[2J\r\n", Config{}, 1, skipped{"not needed": 1, "binary": 1}},

		{"starts in the middle", "07.038,N,01131.000,E*55\r\n" + exampleRMC, Config{}, 1, skipped{"text outside sentences": 1}},
		{"binary block before", "\xb5\x62\x05\x01\x02" + exampleRMC, Config{}, 1, skipped{"binary": 1}},
		{"glued, no line end", rmc + exampleGGA, Config{}, 2, nil},
		{"glued with !", rmc + sum("!AIVDM,1,1,,A,x,0"), Config{}, 2, skipped{"not needed": 1}},
		{"exclamation mark in text", sum("$GPTXT,01,01,02,hello! world"), Config{}, 1, skipped{"not needed": 1}},
		{"line end lost in binary", rmc + "\xb5\x62" + exampleGGA, Config{}, 2, skipped{"binary": 1}},
		{"no line end at all", rmc, Config{}, 1, nil},
		{"CR only", rmc + "\r" + rmc + "\r", Config{}, 2, skipped{"repeated time": 1}},
		{"LF only", rmc + "\n", Config{}, 1, nil},
		{"lower-case checksum", strings.Replace(exampleRMC, "*6A", "*6a", 1), Config{}, 1, nil},
		{"logger's stamp before", "2014-08-01T00:00:00.1Z " + exampleRMC, Config{}, 1, skipped{"line prefix": 1}},
		{"logger's word and column", "NMEA," + rmc + ",1513187697000\r\n", Config{}, 1, skipped{"line prefix": 1}},
		{"tag block", "\\s:x,c:1577836800*00\\" + exampleRMC, Config{}, 1, skipped{"line prefix": 1}},
		{"no checksum ever", "$GPGGA,123519,,,,,0,,,,,,,,\r\n", Config{}, 1, nil},
		{"no checksum, accepted", exampleRMC + "$GPGGA,123519,,,,,0,,,,,,,,\r\n", Config{AcceptUnchecked: true}, 2, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, d := decode(c.cfg, c.in)
			got := d.Counts()
			if got.Sentences != c.sentences || !maps.Equal(got.Skipped, c.skipped) {
				t.Errorf("got %d sentences, skipped %v; want %d, %v", got.Sentences, got.Skipped, c.sentences, c.skipped)
			}
			if got.Bytes != uint64(len(c.in)) {
				t.Errorf("got %d bytes, want %d", got.Bytes, len(c.in))
			}
		})
	}
}

func TestUncheckedIsMarked(t *testing.T) {
	for _, c := range []struct {
		in   string
		want bool
	}{{"$GPGGA,123519,,,,,0,,,,,,,,\r\n", true}, {exampleGGA, false}} {
		es, _ := decode(Config{}, c.in)
		if len(es) != 1 || es[0].Unchecked != c.want {
			t.Errorf("%q: got %+v, want one epoch with Unchecked %v", c.in, es, c.want)
		}
	}
}

func TestTypesAreLimited(t *testing.T) {
	var b strings.Builder
	for i := range 500 {
		b.WriteString(sum(fmt.Sprintf("$GP%c%c%c,1", 'A'+i%26, 'A'+i/26%26, 'Q')))
	}
	_, d := decode(Config{}, b.String())
	c := d.Counts()
	if len(c.ByType) != maxTypes+1 || c.ByType["others"] != 500-maxTypes || c.Sentences != 500 {
		t.Errorf("got %d types, %d others, %d sentences", len(c.ByType), c.ByType["others"], c.Sentences)
	}
}
