package places

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/iotest"
	"time"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/grid"

	"github.com/tidwall/geodesic"
)

// list runs the command on a list given at standard input.
func list(t testing.TB, c cli.Path, lines string) (code int, out, notes string, err error) {
	t.Helper()
	var o, e strings.Builder
	c.List, c.RunDir = "-", t.TempDir()
	code, err = Path(c, iotest.OneByteReader(strings.NewReader(lines)), &o, &e)
	return code, o.String(), e.String(), err
}

// Bad lines are named by their number and lose nothing else.
func TestListNamesBadLines(t *testing.T) {
	lines := "\ufeffKP20le # north\r\n\n# all of this is a remark\n91,0\nFG6X # x\n  -33.45, -70.66  #\n32S 444140 3684706 # noted\n" + strings.Repeat("x", 300) + "\nJN58td"
	code, out, notes, err := list(t, cli.Path{Words: []string{"IO91wm"}, CSV: true}, lines)
	if code != exit.No || err == nil || err.Error() != "path: 3 of 7 places could not be read" {
		t.Errorf("exit %d, %v", code, err)
	}
	rows, cerr := csv.NewReader(strings.NewReader(out)).ReadAll()
	if cerr != nil || len(rows) != 5 {
		t.Fatalf("%d rows, %v:\n%s", len(rows), cerr, out)
	}
	for i, want := range [][]string{{"line", "place", "name"}, {"1", "KP20le", "north"}, {"6", "-33.45, -70.66", ""}, {"7", "32S 444140 3684706", "noted"}, {"9", "JN58td", ""}} {
		if !slices.Equal(rows[i][:3], want) {
			t.Errorf("row %d: %q, want %q", i, rows[i][:3], want)
		}
	}
	for _, want := range []string{"line 4: grid: the latitude is beyond 90 degrees", "line 5: grid: here a locator has a digit (at character 4)\n  FG6X\n     ^", "line 7: S was read", "line 8: grid: too long"} {
		if !strings.Contains(notes, want) {
			t.Errorf("%q is not told:\n%s", want, notes)
		}
	}
}

// Law: a list answers as the single command does, in the order of its lines, in
// every form, however it is cut into chunks.
func TestListAgreesWithSinglePaths(t *testing.T) {
	from := "FG69gu"
	r := rand.New(rand.NewPCG(1, 2))
	var lines strings.Builder
	var want []PathReport
	for i := range 3000 {
		p, _ := grid.Degrees(r.Float64()*180-90, r.Float64()*360-180)
		text := p.Locator(2 + 2*(i%5))
		if i%3 == 0 {
			text = p.Decimal()
		}
		fmt.Fprintf(&lines, "%s # \"place\", %d\n", text, i)
		want = append(want, single(t, text, from))
	}
	_, out, _, err := list(t, cli.Path{Words: []string{from}, CSV: true}, lines.String())
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(rows) != len(want)+1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	_, out, _, _ = list(t, cli.Path{Words: []string{from}, Output: cli.Output{JSON: true}}, lines.String())
	objects := json.NewDecoder(strings.NewReader(out))
	_, out, _, _ = list(t, cli.Path{Words: []string{from}}, lines.String())
	table := strings.Split(out, "\n")[1:]
	for i, w := range want {
		var o struct {
			Line int
			Name string
			lineReport
			boundReport
		}
		if err := objects.Decode(&o); err != nil || o.Line != i+1 || o.Name != fmt.Sprintf(`"place", %d`, i) || rows[i+1][2] != o.Name {
			t.Fatalf("%d: %+v, %v", i, o, err)
		}
		var c [6]float64
		for k := range c {
			c[k], _ = strconv.ParseFloat(rows[i+1][3+k], 64)
		}
		if got := [6]float64{o.DistanceM, o.DistanceBoundM, o.HeadingDeg, o.HeadingBoundDeg, o.BackHeadingDeg, o.BackHeadingBoundDeg}; got != c {
			t.Errorf("%d: JSON %v, CSV %v", i, got, c)
		}
		d := [6]float64{o.DistanceM - w.DistanceM, o.DistanceBoundM - w.DistanceBoundM, math.Remainder(o.HeadingDeg-w.HeadingDeg, 360),
			o.HeadingBoundDeg - w.HeadingBoundDeg, math.Remainder(o.BackHeadingDeg-w.BackHeadingDeg, 360), o.BackHeadingBoundDeg - w.BackHeadingBoundDeg}
		for k, v := range d { // bounds are rounded up, the others to the nearest
			if low, high := -0.00051, 0.00051; k%2 == 0 && (v < low || v > high) || k%2 == 1 && (v < -1e-9 || v > 0.00101) {
				t.Errorf("%d: value %d is %v off: %+v", i, k, v, w)
			}
		}
		cells := strings.Fields(table[i])
		if km, _ := strconv.ParseFloat(cells[0], 64); math.Abs(km*1000-w.DistanceM) > 0.51 || cells[2] != fmt.Sprintf("%03.0f", whole(w.HeadingDeg)) {
			t.Errorf("%d: %q: %+v", i, table[i], w)
		}
	}
}

func single(t *testing.T, to, from string) (r PathReport) {
	t.Helper()
	var out strings.Builder
	if _, err := Path(cli.Path{Words: []string{to, from}, Output: cli.Output{JSON: true}}, nil, &out, io.Discard); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal([]byte(out.String()), &r); err != nil {
		t.Fatal(err)
	}
	return r
}

func TestListThatCannotBeRead(t *testing.T) {
	for _, row := range []struct {
		in   io.Reader
		want string
	}{
		{iotest.ErrReader(errors.New("the stick was pulled")), "the stick was pulled"},
		{io.MultiReader(strings.NewReader("FG69\n"), iotest.ErrReader(errors.New("pulled"))), "pulled"},
		{strings.NewReader("FG69\n" + strings.Repeat(" ", maxLine+chunkSize)), "line 2 is longer"},
	} {
		code, err := Path(cli.Path{List: "-", Words: []string{"FG69"}}, row.in, io.Discard, io.Discard)
		if code != exit.No || err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("exit %d, %v; want %s", code, err, row.want)
		}
	}
	full := failingWriter{after: 1}
	code, err := Path(cli.Path{List: "-", Words: []string{"FG69"}}, strings.NewReader(strings.Repeat("FG69\n", 1_000_000)), &full, io.Discard)
	if code != exit.No || err == nil || !strings.Contains(err.Error(), "no space") {
		t.Errorf("exit %d, %v", code, err)
	}
}

// failingWriter takes some writes, then none.
type failingWriter struct{ after int }

func (w *failingWriter) Write(p []byte) (int, error) {
	if w.after--; w.after < 0 {
		return 0, errors.New("no space left")
	}
	return len(p), nil
}

// Words of a command line that are one place, two, or neither.
func TestCutPlaces(t *testing.T) {
	for _, c := range []struct{ words, first, second string }{
		{"FF46", "FF46", ""}, {"-20.13,-67.49 FG69", "-20.13,-67.49", "FG69"}, {"-20.13 -67.49", "-20.13 -67.49", ""},
		{"-20.13, -67.49 48.1 11.5", "-20.13, -67.49", "48.1 11.5"}, {"FG69 -20.13 -67.49", "FG69", "-20.13 -67.49"},
		{"-20.13 -67.49 -33.45 -70.66", "-20.13 -67.49", "-33.45 -70.66"}, {"20°07.8'S 67°29.4'W FG69", "20°07.8'S 67°29.4'W", "FG69"},
		{"19K 657838 7773417 19KFT 57837 73416", "19K 657838 7773417", "19KFT 57837 73416"}, {"-20 7 48 -67 29 24", "-20 7 48 -67 29 24", ""},
		{"48,11 FG69", "48,11", "FG69"}, {"48.1,11.5 50,12", "48.1,11.5", "50,12"},
	} {
		if first, second, err := cutPlaces(strings.Fields(c.words)); first != c.first || second != c.second || err != nil {
			t.Errorf("%s: %q, %q, %v", c.words, first, second, err)
		}
	}
	for words, want := range map[string]string{
		"20 7 48 11": "two ways", "S20 07 48 W67 29 24": "two ways", "FG69 FF46 FG68": "neither", "-20.13": "missing", "-20.13 FG69": "^", "FG6X FG69": "character 4", "FG69 FG6X": "character 4",
		"-20,13 -67,49": "may be decimal points", "48,5 11": "may be decimal points", "48,5 11 12": "may be decimal points", "48.1,11 50,12": "may be decimal points", "48,11 50,12": "may be decimal points",
		"61K 544000 7773000": "zones run from 1 to 60",
	} {
		if _, _, err := cutPlaces(strings.Fields(words)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %s", words, err, want)
		}
	}
}

// A list with a header is read by it, whatever the order and the separator; a decimal
// comma in a column of its own is one.
func TestListByHeader(t *testing.T) {
	const want = "-20.46,-66.82 Base|48.5,11.25 Camp, north|FG69 Well|"
	for _, list := range []string{
		"name,lat,lon\nBase,-20.46,-66.82\n\"Camp, north\",48.5,11.25\nWell,FG69\n",
		"Longitude;remark;Latitude;Name\r\n-66,82;x;-20,46;Base\r\n11,25;;48,5;Camp, north\r\n",
		"\ufeffNAME\tLAT\tLON\n# a remark\n\nBase\t-20.46\t-66.82\nCamp, north\t48.5\t11.25\n",
		"lat,lon,name,locator\n-20.46,-66.82,Base,\n48.5,11.25,\"Camp, north\",\n,,Well,FG69\n",
	} {
		var out, errOut strings.Builder
		code, err := Path(cli.Path{List: "-", Words: []string{"JN58"}, Output: cli.Output{JSON: true}}, strings.NewReader(list), &out, &errOut)
		got := ""
		for line := range strings.Lines(out.String()) {
			var r struct{ Place, Name string }
			if err := json.Unmarshal([]byte(line), &r); err != nil {
				t.Fatal(err)
			}
			got += r.Place + " " + r.Name + "|"
		}
		if !strings.HasPrefix(want, got) || len(got) < 40 {
			t.Errorf("%q: %q (exit %d, %v, %s)", list, got, code, err, errOut.String())
		}
	}
	// Without a header nothing changes; a line that lacks a column is bad.
	var out, errOut strings.Builder
	if code, err := Path(cli.Path{List: "-", Words: []string{"JN58"}}, strings.NewReader("name,lat,lon\nBase,-20.46\n"), &out, &errOut); code != exit.No || err == nil || !strings.Contains(errOut.String(), "line 2: the line has too few columns") {
		t.Errorf("%d, %v, %s", code, err, errOut.String())
	}
	if headerOf("FG69 # latitude, longitude") != nil || headerOf("48.5, 11.25") != nil || headerOf("lat,name") != nil {
		t.Error("a header was seen where there is none")
	}
}

const benchRows = 20_000

// benchList writes a list of places all over the world, half of them coordinates
// and half locators, and gives them as numbers too.
func benchList(b *testing.B) (file string, places [][2]float64) {
	r := rand.New(rand.NewPCG(20, 67))
	file = filepath.Join(b.TempDir(), "list")
	f, err := os.Create(file)
	if err != nil {
		b.Fatal(err)
	}
	w := bufio.NewWriter(f)
	for i := range benchRows {
		p, _ := grid.Degrees(r.Float64()*180-90, r.Float64()*360-180)
		if i%2 == 0 {
			lat, lon := p.LatLon()
			fmt.Fprintf(w, "%.6f,%.6f # place %d\n", lat, lon, i)
		} else {
			c := p.Cell(6)
			p = c.Center()
			fmt.Fprintln(w, c.Locator())
		}
		lat, lon := p.LatLon()
		places = append(places, [2]float64{lat, lon})
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	return file, places
}

// least is the processor time of the quickest run so far, all cores together: what else is at
// work on the machine takes time from the clock, and little from this.
type least time.Duration

func (l *least) of(b *testing.B, run func()) least {
	began := processorTime(b)
	run()
	d := least(processorTime(b) - began)
	if *l == 0 || d < *l {
		*l = d
	}
	return d
}

func processorTime(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkPathList is a list from a file, by the command, and in turn with it the geodesic
// library alone for the same places on as many cores, so that both see the same machine. The
// answers go where they cost nothing more.
func BenchmarkPathList(b *testing.B) {
	file, places := benchList(b)
	out, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		b.Fatal(err)
	}
	defer out.Close()
	for _, form := range []string{"text", "csv", "json"} {
		b.Run(form, func(b *testing.B) {
			var list, bare least
			var ofBare []float64 // of two runs one after the other
			for b.Loop() {
				long := list.of(b, func() {
					c := cli.Path{Words: []string{"FG69gu18"}, List: file, CSV: form == "csv", Output: cli.Output{JSON: form == "json"}}
					if code, err := Path(c, nil, out, io.Discard); code != exit.OK {
						b.Fatal(err)
					}
				})
				ofBare = append(ofBare, float64(long)/float64(bare.of(b, func() { bareGeodesics(places) })))
			}
			slices.Sort(ofBare)
			b.ReportMetric(float64(list)/benchRows, "cpu-ns/row")
			b.ReportMetric(float64(bare)/benchRows, "bare-ns/row")
			b.ReportMetric(ofBare[len(ofBare)/2], "of-bare")
		})
	}
}

func bareGeodesics(places [][2]float64) {
	var wait sync.WaitGroup
	cores := runtime.GOMAXPROCS(0)
	for i := range cores {
		part := places[i*len(places)/cores : (i+1)*len(places)/cores]
		wait.Go(func() {
			var s, azi1, azi2 float64
			for _, p := range part {
				geodesic.WGS84.Inverse(-20.13, -67.49, p[0], p[1], &s, &azi1, &azi2)
			}
		})
	}
	wait.Wait()
}
