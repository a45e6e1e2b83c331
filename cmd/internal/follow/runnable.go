package follow

import (
	"fmt"
	"os/exec"
	"slices"

	"noonmark/status"
)

// Unrunnable says which commands by kind of event cannot be run here: no such file, no
// right to. A command that runs and fails is not among them.
func Unrunnable(commands map[string][]string) []status.Problem {
	var out []status.Problem
	for kind, argv := range commands {
		if len(argv) == 0 {
			continue
		}
		if _, err := exec.LookPath(argv[0]); err != nil {
			out = append(out, status.Problem{Kind: status.ProblemHook, Text: fmt.Sprintf("The command for %s cannot be run: %v. Mend it in [events] of the settings.", kind, err)})
		}
	}
	slices.SortFunc(out, func(a, b status.Problem) int {
		if a.Text < b.Text {
			return -1
		}
		return 1
	})
	return out
}
