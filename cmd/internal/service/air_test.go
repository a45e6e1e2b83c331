package service

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/cmd/internal/clitest"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/hostclock"
	"noonmark/status"
)

// airNow is what the system clock says now, as if the air had said it.
func airNow(source string, modulo, bound time.Duration, signals int) *control.Air {
	p := hostclock.Sample()
	return &control.Air{BootID: hostclock.BootID(), LocalNS: p.Local, AsleepS: p.SuspendOffset.Seconds(), Source: source,
		UTC: p.System, ModuloS: modulo.Seconds(), BoundS: bound.Seconds(), Signals: signals}
}

func TestControlAir(t *testing.T) {
	_, dir := controlledService(t)
	wide, nobody, boot := airNow("crowd", 15*time.Second, time.Minute, 9), airNow("", 0, time.Second, 0), airNow("crowd", 0, time.Second, 9)
	boot.BootID = "another"
	for word, a := range map[string]*control.Air{"no bound": wide, "no name": nobody, "slept": boot, "does not do": nil} {
		if _, err := control.Tell([]string{dir}, control.Request{Do: "air", Air: a}); err == nil || !strings.Contains(err.Error(), word) {
			t.Errorf("%s: %v", word, err)
		}
	}
	tell := func(a *control.Air) *control.Marked {
		t.Helper()
		got, err := control.Tell([]string{dir}, control.Request{Do: "air", Air: a})
		if err != nil || got.Air == nil {
			t.Fatalf("%+v, %v", got, err)
		}
		return got.Air
	}
	if a := tell(airNow("crowd", 15*time.Second, 150*time.Millisecond, 17)); a.Placed {
		t.Errorf("the crowd was placed out of nothing: %+v", a)
	}
	if a := tell(airNow("WWV", 0, 100*time.Millisecond, 1)); !a.Placed || a.Says == nil || a.Says.Kind != "air" {
		t.Errorf("%+v", a)
	}
	if a := tell(airNow("crowd", 15*time.Second, 150*time.Millisecond, 17)); !a.Placed || a.Says == nil || a.Says.Trust != status.Trusted {
		t.Errorf("%+v", a)
	}
	s := clitest.Load(filepath.Join(dir, status.FileName))
	if s.Air == nil || s.Air.Signals != 17 || s.Air.Station != nil || !s.Air.ErrorS.OK || s.Air.BoundS.V != 0.15 {
		t.Errorf("air %+v", s.Air)
	}
	heard := "" // of the crowd: it waited, and was placed by the station's word
	for _, e := range s.Events {
		if e.Kind == "air" && strings.Contains(e.Text, "stations") {
			heard = e.Text
		}
	}
	if !strings.HasPrefix(heard, "Heard 17 stations: the clock is 0.0") || !strings.HasSuffix(heard, "± 0.15 s.") {
		t.Errorf("event %q", heard)
	}
}
