package main

import (
	"os"
	"strings"
	"testing"
)

func TestChart(t *testing.T) {
	got := chart(parse("noonmark/cmd/noonmark fmt noonmark/a noonmark/b/c\nnoonmark/a noonmark/b/c\nnoonmark/b/c os\nnoonmark/alone noonmark/a\n"))
	for _, want := range []string{"subgraph cmd", `cmd_noonmark["noonmark"]`, "cmd_noonmark --> a\n", "a --> b_c\n"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	for _, wrong := range []string{"cmd_noonmark --> b_c", "alone", "fmt"} {
		if strings.Contains(got, wrong) {
			t.Errorf("%q in\n%s", wrong, got)
		}
	}
}

// TestGuideShowsTheRooms: the chart in DEVELOPERS.md is that of the packages as they are.
func TestGuideShowsTheRooms(t *testing.T) {
	const guide = "../../../DEVELOPERS.md"
	now, err := drawn(".")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(guide)
	if err != nil {
		t.Fatal(err)
	}
	if want, err := replaced(string(text), now); err != nil || want != string(text) {
		t.Errorf("the chart is not that of the packages (%v): go run ./cmd/internal/rooms DEVELOPERS.md", err)
	}
}
