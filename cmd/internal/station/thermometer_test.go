package station

import (
	"testing"

	"noonmark/clockcheck"
)

func TestThermometerIsPublished(t *testing.T) {
	s := New(Config{}, clockcheck.Learned{})
	if got := s.Tick(Tick{Local: 5e9, System: 1}).Thermometer; got != nil {
		t.Errorf("out of nothing: %+v", got)
	}
	s.Temperature(clockcheck.Temperature{At: 6e9, C: -12.25, Sensor: "the hardware clock's chip"})
	got := s.Tick(Tick{Local: 7e9, System: 2}).Thermometer
	if got == nil || got.Celsius.V != -12.25 || got.PPMPerC.OK || got.Sensor != "the hardware clock's chip" || got.Because == "" {
		t.Errorf("%+v", got)
	}
}
