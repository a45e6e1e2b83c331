package prepare

import (
	"strings"
	"testing"
	"unicode/utf8"

	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/preflight"
	"noonmark/status"
)

// evening is a station on which all has been learned.
func evening() Evening {
	k := status.Known
	set := config.Default()
	set.Report.Name, set.Report.Place = "Base", "FG69"
	return Evening{Settings: set, Pages: []string{"http://192.168.4.1:8173/"},
		Findings: []preflight.Finding{{Check: "disk", State: preflight.Good, Text: "Kept."}, {Check: "leap seconds", State: preflight.Note, Text: "Ended."}},
		Status: &status.Snapshot{Live: true,
			Clock:    status.Clock{Steering: "holding", Proved: []string{"date", "second", "latency"}, RateBoundPPM: k(0.3)},
			Modes:    []status.Mode{{Mode: "FT8", InUse: true}},
			Position: &status.Position{Locator: "FG69gu17", BoundM: k(5), Fix: "3d"},
			Receiver: &status.Receiver{Device: "/dev/ttyACM0", Identity: "GNSS receiver"},
			References: []status.Reference{{Name: "receiver", Kind: "gnss"},
				{Name: "hardware clock", Kind: "rtc", Because: "Compared."}}}}
}

func TestSteps(t *testing.T) {
	for _, row := range []struct {
		name, step, state, want string
		wait                    float64
		change                  func(*Evening)
	}{
		{"no service", "service", Missing, "Start it.", 0, func(e *Evening) { e.Status, e.Problem = nil, "Start it." }},
		{"no receiver", "receiver", Missing, "Plug it in", 0, func(e *Evening) {
			e.Status.References[0].State, e.Status.References[0].Because = "absent", "Plug it in."
		}},
		{"no fix", "place", Missing, "open sky", 0, func(e *Evening) { e.Status.Position.Fix = "none" }},
		{"an old place", "place", Missing, "open sky", 0, func(e *Evening) { e.Status.Position.Kept = true }},
		{"second coming", "second", Doing, "being confirmed", 540, func(e *Evening) {
			e.Status.Clock.Proved, e.Status.Clock.SecondInS = []string{"latency"}, status.Known(540)
		}},
		{"second open", "second", Missing, "mark", 0, func(e *Evening) { e.Status.Clock.Proved = []string{"latency"} }},
		{"latency open", "latency", Missing, "network", 0, func(e *Evening) { e.Status.Clock.Proved = []string{"second"} }},
		{"latency before a fix", "latency", Missing, "once it has a fix", 0, func(e *Evening) { e.Status.Clock.Proved, e.Status.References[0].State = []string{"second"}, "no-fix" }},
		{"rate coarse", "oscillator", Doing, "± 50", 0, func(e *Evening) { e.Status.Clock.RateBoundPPM = status.Known(50) }},
		{"hardware clock compared later", "hardware clock", Doing, "compared as soon", 0, func(e *Evening) { e.Status.References[1].State = "uncompared" }},
		{"hardware clock's battery", "hardware clock", Missing, "battery", 0, func(e *Evening) { e.Status.References[1].Battery = status.BatteryEmpty }},
		{"cannot be kept", "problem", Missing, "room", 0, func(e *Evening) {
			e.Status.Problems = []status.Problem{{Kind: status.ProblemNotKept, Text: "Make room."}}
		}},
		{"preflight", "other programs", Missing, "Stop it", 0, func(e *Evening) {
			e.Findings = append(e.Findings, preflight.Finding{Check: "other programs", State: preflight.Problem, Text: "One steers.", Remedy: "Stop it."})
		}},
		{"battery low", "battery", Missing, "Charge it", 0, func(e *Evening) {
			e.Findings = append(e.Findings, preflight.Finding{Check: "battery", State: preflight.Problem, Text: "Low.", Remedy: "Charge it."})
		}},
		{"no battery", "battery", Without, "No battery", 0, func(e *Evening) {
			e.Findings = append(e.Findings, preflight.Finding{Check: "battery", State: preflight.Note, Text: "No battery is seen."})
		}},
		{"no hardware clock", "hardware clock", Without, "none", 0, func(e *Evening) { e.Status.References = e.Status.References[:1] }},
		{"page on this computer", "page", Without, "8173", 0, func(e *Evening) { e.Pages = nil }},
		{"all", "latency", Done, "confirmed", 0, func(*Evening) {}},
	} {
		t.Run(row.name, func(t *testing.T) {
			e := evening()
			row.change(&e)
			steps := Steps(e)
			found := false
			for _, s := range steps {
				if s.Name == row.step {
					found = true
					if s.State != row.state || !strings.Contains(s.Text, row.want) || s.WaitS != (status.Float{V: row.wait, OK: row.wait != 0}) {
						t.Errorf("%+v", s)
					}
				}
			}
			if !found {
				t.Errorf("no step %q in %+v", row.step, steps)
			}
			if Ready(steps) != (row.state == Done || row.state == Without) {
				t.Errorf("ready %v: %+v", Ready(steps), steps)
			}
		})
	}
}

func TestTextFits(t *testing.T) {
	e := evening()
	e.Status.Clock.Proved, e.Status.Clock.SecondInS = nil, status.Known(540)
	for _, width := range []int{40, 80} {
		text := Text(Steps(e), width)
		for line := range strings.Lines(text) {
			if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > width && strings.Contains(strings.TrimSpace(line), " ") && !strings.Contains(line, "http") {
				t.Errorf("%d columns: %q", n, line)
			}
		}
		if !strings.Contains(strings.Join(strings.Fields(text), " "), "Another 9 min.") {
			t.Errorf("no wait:\n%s", text)
		}
	}
}

// A QR code has a quiet zone and its three finders, whose corners are dark (ISO/IEC
// 18004, 5.3.3): in half blocks a dark pair is a blank on a light ground.
func TestCode(t *testing.T) {
	text := code("http://192.168.4.1:8173/", 80)
	rows := strings.Split(strings.TrimSuffix(text, "\n"), "\n")
	if len(rows) < 14 || !strings.HasPrefix(rows[0], "██") {
		t.Fatalf("%q", rows)
	}
	const finder = "██ ▄▄▄▄▄ █" // two quiet modules; dark corner, seven wide
	if !strings.HasPrefix(rows[1], finder) || !strings.HasSuffix(rows[1], "█ ▄▄▄▄▄ ██") {
		t.Errorf("finders: %q", rows[1])
	}
	if code("http://192.168.4.1:8173/", 20) != "" {
		t.Error("wider than the terminal")
	}
}
