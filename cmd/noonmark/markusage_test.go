package main

import (
	"bytes"
	"strings"
	"testing"

	"noonmark/cmd/internal/exit"
)

func TestMarkUsage(t *testing.T) {
	for args, want := range map[string]string{
		"mark":                               "--list shows them",
		"mark --station XYZ":                 "no time signal",
		"mark --station WWV --place nowhere": "nowhere",
		"mark --station WWV --beat --react":  "choose one",
		"mark --station WWV --beat --taps 2": "from 3 to 60",
	} {
		var out, errOut bytes.Buffer
		code := run(t.Context(), strings.Fields(args), strings.NewReader(""), &out, &errOut)
		if code == exit.OK || !strings.Contains(errOut.String(), want) {
			t.Errorf("%s: exit %d, %s", args, code, &errOut)
		}
	}
	var out bytes.Buffer
	if code := run(t.Context(), []string{"mark", "--list"}, strings.NewReader(""), &out, &out); code != exit.OK || !strings.Contains(out.String(), "RWM") {
		t.Errorf("exit %d: %s", code, &out)
	}
}
