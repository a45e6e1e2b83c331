package marking

import (
	"encoding/json"
	"io"
	"maps"
	"slices"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/control"
	"noonmark/cmd/internal/exit"
	"noonmark/status"
)

// withdraw takes the last mark back and says what stands without it.
func (m *marker) withdraw(c cli.Mark, out io.Writer) (int, error) {
	a, err := m.tell(control.Request{Do: "withdraw"})
	if err != nil {
		return exit.No, err
	}
	if c.JSON {
		return exit.OK, json.NewEncoder(out).Encode(a)
	}
	m.say("%s", a.Done)
	if a.Mark == nil {
		return exit.OK, nil
	}
	m.say("%s", a.Mark.Because)
	for _, mode := range slices.Sorted(maps.Keys(a.Mark.Modes)) {
		m.say("%s: %s", mode, status.Heading(a.Mark.Modes[mode]))
	}
	return exit.OK, nil
}
