package station

import (
	"encoding/json"
	"testing"

	"noonmark/clockcheck"
	"noonmark/clockcheck/banked"
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
		if _, is := New(cfg, clockcheck.Learned{}).judge.counts.(*banked.Judge); is != bank {
			t.Errorf("asked for the bank: %v, judged by it: %v", bank, is)
		}
	}
}
