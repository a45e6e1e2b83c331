package gnss

import "testing"

func TestSystem(t *testing.T) {
	for talker, want := range map[string]string{"GP": "GPS", "BD": "BeiDou", "GI": "NavIC", "ZZ": "ZZ"} {
		s := Satellite{Talker: [2]byte{talker[0], talker[1]}}
		if got := s.System(); got != want {
			t.Errorf("%s: %s, want %s", talker, got, want)
		}
	}
}
