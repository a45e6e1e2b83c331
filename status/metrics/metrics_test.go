package metrics

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"noonmark/status"
)

// snapshots to write: the published example, one that knows nothing, and one whose
// words came from outside and mean harm.
func snapshots(t *testing.T) map[string]*status.Snapshot {
	t.Helper()
	b, err := os.ReadFile("../testdata/example.json")
	if err != nil {
		t.Fatal(err)
	}
	full, err := status.Parse(b)
	if err != nil {
		t.Fatal(err)
	}
	full.Sharing = &status.Sharing{Readers: 3, Lines: 14890, Lost: 12}
	full.Air = &status.Air{Signals: 17, ErrorS: status.Known(0.08), BoundS: status.Known(0.15), AgeS: status.Known(12)}
	full.TimeService = &status.TimeService{Answered: 412, Limited: 7, Ignored: 2, Dropped: 1}
	full.Receiver = &status.Receiver{Sentences: 14880, Skipped: map[string]int64{"checksum": 3, "too long": 1}, Epochs: 1860, EpochsValid: 1858}
	hostile := full.Clone()
	evil := "a\"} 1\n# EOF\n\\\xff\x00é"
	hostile.Clock.Basis = evil
	hostile.Clock.ErrorS = status.Float{V: math.Inf(1), OK: true}
	hostile.Modes = append(hostile.Modes, status.Mode{Mode: evil, Verdict: evil}, status.Mode{Mode: evil, Verdict: "within"})
	hostile.References = append(hostile.References, status.Reference{Name: evil, Kind: evil, Trust: evil, Battery: evil},
		status.Reference{Name: "a\"} 1\n# EOF\n\\\xfe\x00é", Trust: "silent"})
	hostile.Receiver.Skipped = map[string]int64{evil: 1, "x\xff": 2, "x\xfe": 3}
	return map[string]*status.Snapshot{"full": &full, "least": {}, "hostile": &hostile}
}

// parser reads one text after the other, each after its length, with the reference
// parser of the metrics tool's own project, and prints what it found.
const parser = `
import json, sys
from prometheus_client.openmetrics.parser import text_string_to_metric_families as parse
for text in json.load(sys.stdin):
    out = []
    for family in parse(text):
        for s in family.samples:
            out.append([family.name, family.type, family.unit, family.documentation, s.name, s.labels, str(s.value)])
    print(json.dumps(out))
`

// TestReferenceParser has the texts read by python3-prometheus-client (Debian), the
// reference implementation of OpenMetrics parsing.
func TestReferenceParser(t *testing.T) {
	python := ""
	for _, p := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(p, "-c", "import prometheus_client.openmetrics.parser").Run() == nil {
			python = p
			break
		}
	}
	if python == "" {
		t.Skip("python3-prometheus-client is not installed")
	}
	all := snapshots(t)
	names := []string{"full", "least", "hostile"}
	texts := make([]string, len(names))
	for i, n := range names {
		texts[i] = string(Text(all[n]))
	}
	in, err := json.Marshal(texts)
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(python, "-c", parser)
	cmd.Stdin = bytes.NewReader(in)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	lines := strings.Split(strings.TrimSpace(string(out)), "\n")
	for i, name := range names {
		var samples [][]any
		if err := json.Unmarshal([]byte(lines[i]), &samples); err != nil {
			t.Fatal(err)
		}
		if want := strings.Count(texts[i], "\nnoonmark_"); len(samples) != want {
			t.Errorf("%s: the parser found %d samples, the text has %d", name, len(samples), want)
		}
		for _, s := range samples {
			unit, documentation := s[2].(string), s[3].(string)
			if documentation == "" || unit != "" && !strings.HasSuffix(s[0].(string), "_"+unit) {
				t.Errorf("%s: %v", name, s)
			}
		}
		if name == "hostile" && !strings.Contains(lines[i], `"mode": "a\"} 1\n# EOF\n\\?\u0000\u00e9"`) {
			t.Errorf("the hostile label did not come through: %s", lines[i])
		}
	}
}

// TestLint has promtool (Debian's prometheus) look at names and help. It reads the
// older format, whose counters are named in full in TYPE and HELP.
func TestLint(t *testing.T) {
	promtool, err := exec.LookPath("promtool")
	if err != nil {
		t.Skip("promtool is not installed")
	}
	var old strings.Builder
	counter := ""
	for line := range strings.Lines(string(Text(snapshots(t)["full"]))) {
		f := strings.Fields(line)
		switch {
		case f[1] == "EOF", f[1] == "UNIT":
			continue
		case f[1] == "TYPE" && f[3] == "counter":
			counter = f[2]
			line = strings.Replace(line, counter, counter+"_total", 1)
		case f[1] == "HELP" && f[2] == counter:
			line = strings.Replace(line, counter, counter+"_total", 1)
		}
		old.WriteString(line)
	}
	cmd := exec.Command(promtool, "check", "metrics")
	cmd.Stdin = strings.NewReader(old.String())
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Errorf("%v\n%s", err, out)
	}
}

// TestText holds the text of the published example to a golden file, so that a
// renamed family is seen: dashboards and rules stand on the names.
func TestText(t *testing.T) {
	got := Text(snapshots(t)["full"])
	path := filepath.Join("testdata", "full.openmetrics")
	if os.Getenv("UPDATE") != "" {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("got\n%s\nwant (UPDATE=1 go test rewrites it)\n%s", got, want)
	}
}

// TestNeverTwice: a series appears once, whatever the snapshot repeats.
func TestNeverTwice(t *testing.T) {
	for name, s := range snapshots(t) {
		seen := map[string]bool{}
		for line := range strings.Lines(string(Text(s))) {
			if strings.HasPrefix(line, "#") {
				continue
			}
			series := line[:strings.LastIndexByte(line, ' ')]
			if seen[series] {
				t.Errorf("%s: %s twice", name, series)
			}
			seen[series] = true
		}
	}
}

func BenchmarkText(b *testing.B) {
	raw, err := os.ReadFile("../testdata/example.json")
	if err != nil {
		b.Fatal(err)
	}
	s, err := status.Parse(raw)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		Text(&s)
	}
}
