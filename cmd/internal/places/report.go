package places

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/reader"
	"noonmark/cmd/internal/report"
	"noonmark/cmd/internal/settings"
	"noonmark/grid"
)

// distressCaution stands on the screen, not in the message.
const distressCaution = `Not for navigation. In distress give coordinates, not only a locator. noonmark
sends nothing. Use any means to call for help, by the distress procedure and the
words of where you are. Repeat until somebody answers.
`

// maxTemplate is the largest template file, bytes.
const maxTemplate = 64 << 10

// worded is a report and its text.
type worded struct {
	*report.Report
	Aloud string `json:"aloud"`
	Text  string `json:"text"`
}

// Report is the command.
func Report(c cli.Report, out, errOut io.Writer) (int, error) {
	to, err := namedPlace(c)
	if err != nil {
		return exit.Misuse, exit.Usage(err)
	}
	template, err := templateText(c.Template)
	if err != nil {
		return exit.Misuse, exit.Usage(err)
	}
	if c.Distress {
		fmt.Fprint(errOut, distressCaution)
	}
	s, now, err := reader.Published(c.RunDir)
	if err != nil {
		return exit.Cannot, exit.With(exit.Cannot, err)
	}
	r, err := report.Make(s, now, c.Distress, to)
	if err != nil {
		return exit.Cannot, exit.With(exit.Cannot, err)
	}
	text := r.Text()
	switch {
	case template != "":
		text, err = r.Template(template, c.Fit)
	case c.Fit > 0:
		text, err = r.Fit(c.Fit)
		text += "\n"
	}
	if err != nil {
		return exit.No, err
	}
	if aloud := r.Aloud(); c.Aloud && !strings.Contains(text, aloud) {
		text = strings.TrimSuffix(text, "\n") + "\n" + aloud + "\n"
	}
	if c.JSON {
		return exit.OK, json.NewEncoder(out).Encode(worded{&r, r.Aloud(), strings.TrimSuffix(text, "\n")})
	}
	for _, p := range r.Problems {
		fmt.Fprintf(errOut, "%s\n", p)
	}
	if !strings.HasSuffix(text, "\n") {
		text += "\n"
	}
	_, err = io.WriteString(out, text)
	return exit.OK, err
}

// templateText is the template itself or what its file holds.
func templateText(t string) (string, error) {
	path, isFile := strings.CutPrefix(t, "@")
	if !isFile {
		return t, nil
	}
	f, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("report: template: %w", err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, maxTemplate+1))
	switch {
	case err != nil:
		return "", fmt.Errorf("report: template: %w", err)
	case len(b) > maxTemplate:
		return "", fmt.Errorf("report: template %s: larger than %d bytes", path, maxTemplate)
	case len(b) == 0:
		return "", fmt.Errorf("report: template %s is empty", path)
	}
	return string(b), nil
}

// namedPlace is the place that was named by the flag, or else in the settings; nil
// for none.
func namedPlace(c cli.Report) (*report.Place, error) {
	name, text, named := strings.Cut(c.To, "=")
	if !named {
		name, text = "", c.To
	}
	if c.To == "" {
		path := c.Config
		if path == "" {
			path = config.Path
		}
		set, err := config.Load(path, settings.ModeName)
		switch {
		case c.Config == "" && (errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission)):
			return nil, nil
		case err != nil:
			return nil, err
		}
		name, text = set.Report.Name, set.Report.Place
	}
	if text == "" {
		if name != "" {
			return nil, fmt.Errorf("report: no place is given for %q: write it as NAME=PLACE, or as place in [report]", name)
		}
		return nil, nil
	}
	pl, err := grid.ParsePlace(text)
	if err != nil {
		return nil, pointAt(text, err)
	}
	if name == "" {
		name = text
	}
	return &report.Place{Name: name, End: pl.End()}, nil
}
