package station

import (
	"encoding/json"
	"strings"
	"testing"

	"noonmark/clockcheck"
	"noonmark/clockcheck/banked"
	"noonmark/status"
)

// The judge on trial is there where it was asked for, and in what is recorded of that.
func TestWhichJudge(t *testing.T) {
	for _, bank := range []bool{false, true} {
		text, err := json.Marshal(Config{Bank: bank})
		if err != nil {
			t.Fatal(err)
		}
		var cfg Config
		if err := json.Unmarshal(text, &cfg); err != nil {
			t.Fatal(err)
		}
		s := New(cfg, clockcheck.Learned{})
		if _, is := s.judge.counts.(*banked.Judge); is != bank {
			t.Errorf("asked for the bank: %v, judged by it: %v", bank, is)
		}
		snap := s.Tick(Tick{Local: 1e9, System: 2e18})
		if said := snap.Clock.Judge == status.JudgeBank; said != bank || strings.Contains(snap.Why(), "on trial") != bank {
			t.Errorf("asked for the bank: %v, the status says it: %q, %s", bank, snap.Clock.Judge, snap.Why())
		}
	}
}
