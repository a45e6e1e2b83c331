package status

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"noonmark/status/safefile"
)

// What a second process of the station cannot do lies in a file of its own, for that
// process may not write into the service's directory: noonmark follow, whose directory
// has the same name with "-follow" (RuntimeDirectory of its unit).
const (
	BesideSuffix = "-follow"
	problemsName = "problems.json"
	// A file is believed so long; who writes it does so more often.
	problemsStaleS = 120
	maxProblems    = 16 << 10
)

type problemsFile struct {
	BootID    string    `json:"boot_id"`
	BoottimeS float64   `json:"boottime_s"`
	Problems  []Problem `json:"problems"`
}

// PublishProblems writes list as of now beside the run directory runDir.
func PublishProblems(runDir string, now Now, list []Problem) error {
	dir := filepath.Clean(runDir) + BesideSuffix
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("status: problems: %w", err)
	}
	b, err := json.Marshal(problemsFile{now.BootID, now.BoottimeS, list})
	if err != nil {
		return fmt.Errorf("status: problems: %w", err)
	}
	return safefile.Replace(filepath.Join(dir, problemsName), b, 0o644)
}

// OtherProblems are those that lie beside runDir and are not old; no file, no problem.
// The clocks are read after the file, as Find does.
func OtherProblems(runDir string) []Problem {
	b, err := safefile.Read(filepath.Join(filepath.Clean(runDir)+BesideSuffix, problemsName), maxProblems)
	var f problemsFile
	if err == nil {
		err = json.Unmarshal(b, &f)
	}
	var now Now
	if err == nil {
		now, err = ReadNow()
	}
	age := now.BoottimeS - f.BoottimeS
	if err == nil && (f.BootID != now.BootID || age < -futureS || age > problemsStaleS) {
		err = errors.New("old")
	}
	if err != nil {
		return nil
	}
	for i := range f.Problems {
		f.Problems[i].Text = Clean(f.Problems[i].Text)
	}
	return f.Problems
}

// With returns s with more problems, each once, and the advice that goes with them.
func (s Snapshot) With(more []Problem) Snapshot {
	for _, p := range more {
		known := p.Text == ""
		for _, q := range s.Problems {
			known = known || q == p
		}
		if !known {
			s.Problems = append(s.Problems[:len(s.Problems):len(s.Problems)], p)
		}
	}
	return s
}
