package status

import "slices"

// Unseen is what would not show now, were it so, and who would show it: the rows of the README's
// table that apply. "" = two kinds of source tell the time, or none has told it.
func (s Snapshot) Unseen() string {
	var heard []string
	for _, r := range s.References {
		if r.Trust == "trusted" && !slices.Contains(heard, r.Kind) {
			heard = append(heard, r.Kind)
		}
	}
	others := slices.DeleteFunc(slices.Clone(heard), func(k string) bool { return k == "pps" || k == "rtc" })
	if len(others) > 1 {
		return ""
	}
	switch kind := append(others, "")[0]; {
	case kind == "gnss" && slices.Equal(s.Clock.Ancestry, []string{"receiver"}):
		return "Only the receiver tells the time: whole seconds that it was wrong by from its first fix would not show. " +
			"Nor would a false signal that leads it away slowly. A time server, a mark or the air shows both."
	case kind == "gnss":
		return "Only the receiver tells the time now: a false signal that leads it away slowly would not show. A time server, a mark or the air shows it."
	case kind == "network":
		return "Only time servers tell the time: that they follow one wrong clock would not show. A receiver, a mark or the air shows it."
	case kind == "operator":
		return "Only a mark tells the time: a slip by a whole second or minute would not show. A receiver, a time server or the air shows it."
	case kind == "air":
		return "Only the air tells the time: that most stations heard follow one wrong clock would not show. A receiver, a time server or a time signal shows it."
	case s.Clock.Basis == "rtc":
		return "Only the hardware clock tells the time: that somebody set it while the power was off would not show. A receiver, a time server or a mark shows it."
	case s.Clock.Basis == "holdover" && !slices.Contains(heard, "rtc"):
		return "Nothing tells the time: that the oscillator changed by more than 15 ppm would not show. A receiver, a time server or a mark shows it."
	}
	return ""
}
