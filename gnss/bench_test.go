package gnss

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/adrianmo/go-nmea"

	"noonmark/clockcheck/timescale"
)

// captures returns the recorded streams of ../testdata/nmea by path. Sources and
// licences: SOURCES.csv there.
func captures(tb testing.TB) map[string][]byte {
	tb.Helper()
	paths, err := filepath.Glob("../testdata/nmea/*/*")
	if err != nil {
		tb.Fatal(err)
	}
	all := make(map[string][]byte)
	for _, p := range paths {
		switch filepath.Ext(p) {
		case ".md", ".csv", ".json":
			continue // descriptions
		}
		b, err := os.ReadFile(p)
		if err != nil {
			tb.Fatal(err)
		}
		if rel, _ := filepath.Rel("../testdata/nmea", p); filepath.Dir(rel) != "LICENSES" {
			all[rel] = b
		}
	}
	if len(all) < 40 {
		tb.Fatalf("only %d captures in ../testdata/nmea, want at least 40", len(all))
	}
	return all
}

// lines cuts a capture into sentences as a bare loop would: each line from its
// first start character on.
func lines(b []byte) []string {
	var out []string
	for _, l := range bytes.Split(b, []byte("\n")) {
		if i := bytes.IndexAny(l, "$!"); i >= 0 {
			out = append(out, string(bytes.TrimSpace(l[i:])))
		}
	}
	return out
}

// BenchmarkDecode and BenchmarkBareParse work on the same captures, every one of
// them; one op is all of it. Compare ns/sentence and allocs/op:
//
//	go test -run '^$' -bench 'Decode|BareParse' -benchmem ./gnss
func BenchmarkDecode(b *testing.B) {
	var streams [][]byte
	n := 0
	for _, s := range captures(b) {
		streams = append(streams, s)
		n += len(lines(s))
	}
	b.ReportAllocs()
	epochs := 0
	for b.Loop() {
		epochs = 0
		for _, s := range streams {
			d := NewDecoder(Config{Baud: 115200})
			at := timescale.Local(0)
			for len(s) > 0 { // reads of 256 bytes, drained as the owner would
				k := min(256, len(s))
				at = at.Add(30 * time.Millisecond)
				d.Feed(s[:k], at)
				s = s[k:]
				for {
					if _, ok := d.Next(); !ok {
						break
					}
					epochs++
				}
			}
		}
	}
	if epochs == 0 {
		b.Fatal("no epochs")
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/sentence")
}

func BenchmarkBareParse(b *testing.B) {
	var all []string
	for _, s := range captures(b) {
		all = append(all, lines(s)...)
	}
	b.ReportAllocs()
	for b.Loop() {
		good := 0
		for _, l := range all {
			if _, err := nmea.Parse(l); err == nil {
				good++
			}
		}
		if good == 0 {
			b.Fatal("nothing parsed")
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(all)), "ns/sentence")
}
