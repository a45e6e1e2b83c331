package inspect

import (
	"testing"

	"noonmark/cmd/internal/preflight"
)

// What systemctl(1) show prints, and what is made of it.
func TestParseUnit(t *testing.T) {
	for text, want := range map[string]preflight.Unit{
		"LoadState=loaded\nActiveState=failed\nResult=exit-code\n":    {Loaded: true, Failed: true, Result: "exit-code"},
		"Result=success\nLoadState=loaded\nActiveState=active\n":      {Loaded: true, Result: "success"},
		"LoadState=not-found\nActiveState=inactive\nResult=success\n": {Result: "success"},
		"": {},
	} {
		if got := parseUnit(text); got != want {
			t.Errorf("%q: %+v", text, got)
		}
	}
}
