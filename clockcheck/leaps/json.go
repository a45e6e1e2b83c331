package leaps

import (
	"encoding/json"

	"noonmark/clockcheck/timescale"
)

// written is a table as it is written down.
type written struct {
	Updated, Expires timescale.UTC
	First            Leap
	Leaps            []Leap
}

// MarshalJSON writes a table down, for a record of what a station knew.
func (t *Table) MarshalJSON() ([]byte, error) {
	return json.Marshal(written{t.Updated, t.Expires, t.first, t.leaps})
}

// UnmarshalJSON reads one that was written down.
func (t *Table) UnmarshalJSON(b []byte) error {
	var w written
	if err := json.Unmarshal(b, &w); err != nil {
		return err
	}
	*t = Table{w.Updated, w.Expires, w.First, w.Leaps}
	return nil
}
