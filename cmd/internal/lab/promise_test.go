package lab

import (
	"bytes"
	"fmt"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/world"
	"noonmark/status"
)

// TestPromiseIsHeld: a good-for that is right is counted and passes, one that says a fifth
// more breaks the law, and the table tells the size and the least.
func TestPromiseIsHeld(t *testing.T) {
	c, err := Read("../../../testdata/scenarios/good-until.scenario")
	if err != nil {
		t.Fatal(err)
	}
	w := world.New(c.Scenario, station.Config{Judge: clockcheck.Config{Floor: Floor, Modes: c.Modes}, MakeJudge: c.judge(0), BuildDate: Floor, LocatorLength: 10}, 1)
	var s *status.Snapshot
	for within := 0; within < 60; {
		if s = w.Second(); w.Elapsed() > c.Length {
			t.Fatal("never within")
		}
		// A look is told to 2 % and 1 s: of a promise of 200 s that is a tenth of what is asked here.
		if m := s.Modes[0]; m.Verdict == status.Within && m.GoodForS.V > 200 && m.GoodForS.V < 12*3600 && w.Elapsed() > time.Minute {
			within++
		}
	}
	for _, longer := range []float64{1, 1.2} {
		said := *s
		said.Modes = append([]status.Mode(nil), s.Modes...)
		for i := range said.Modes {
			said.Modes[i].GoodForS.V *= longer
		}
		o := newObserver(c, 1)
		for o.night.Promises == 0 {
			o.lookAtPromise(w, &said)
		}
		if broken := len(o.night.Breaks) > 0; broken != (longer > 1) || (o.night.Kept < promiseKept) != broken {
			t.Errorf("%.1f times what lasts: kept %.2f, breaks %v", longer, o.night.Kept, o.night.Breaks)
		}
		var out bytes.Buffer
		Table(&out, Rows([]*Night{&o.night, &o.night}))
		if !strings.Contains(out.String(), fmt.Sprintf("word %d times", 2*o.night.Promises)) || longer > 1 != strings.Contains(out.String(), "did not hold: good-for") {
			t.Errorf("%.1f times what lasts:\n%s", longer, out.String())
		}
	}
}
