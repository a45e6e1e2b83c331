package lab

import (
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestNightsWithAnEar: each night with a fault is seen before it does harm, and none is called within
// falsely. NOONMARK_TEST_EARS is how many of each kind; in short one lie.
func TestNightsWithAnEar(t *testing.T) {
	n, kinds := uint64(1), []string{"lie"}
	if v, err := strconv.ParseUint(os.Getenv("NOONMARK_TEST_EARS"), 10, 32); err == nil {
		n, kinds = v, Ears
	}
	for _, kind := range kinds {
		var jobs []Job
		for s := range n {
			jobs = append(jobs, Job{RandomEar(s+1, kind), s + 1})
		}
		for _, v := range PlayAll(jobs, 0) {
			if v.falseS() > 0 || v.Missed > 0 || v.Seen != nil && !v.Seen.InTime() || v.Seen == nil && kind != "night" {
				t.Errorf("%s, seed %d: false %d s, guard missed %d s, seen %+v", kind, v.Seed, v.falseS(), v.Missed, v.Seen)
			}
		}
	}
}

func TestSeenTable(t *testing.T) {
	for _, row := range []struct {
		s  Seen
		in bool
	}{
		{Seen{Doubted: 40, Beyond: 10, Harmed: 12}, false},
		{Seen{Doubted: 4, Beyond: 10, Harmed: 400}, false},
		{Seen{Doubted: 40, Beyond: 10, Harmed: -1}, true},
		{Seen{Doubted: -1, Beyond: -1, Harmed: -1}, true},
	} {
		if row.s.InTime() != row.in {
			t.Errorf("%+v: in time %v", row.s, !row.in)
		}
	}
	var out strings.Builder
	SeenTable(&out, []*Night{{}, {Seed: 7, Seen: &Seen{Doubted: -1, Beyond: 10, Harmed: -1}}, {Seen: &Seen{Doubted: 40, Beyond: 10, Harmed: 12}}})
	for _, want := range []string{"2 nights with a fault: FT4 was refused whenever the error was more than it bears in 50.0 %", "seed 7: ", "no source was ever doubted"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
}
