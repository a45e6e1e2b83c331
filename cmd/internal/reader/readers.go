// Package reader holds the commands that read the published status: ready, why, until,
// screen, and pin.
package reader

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/terminal"
	"noonmark/cmd/internal/wrap"
	"noonmark/status"
)

// Ready answers "may I key up?".
func Ready(c cli.Ready, out io.Writer) (int, error) {
	s, now, err := Published(c.RunDir)
	report := status.Refusal("Nothing to go by: " + errText(err) + ".")
	if errors.Is(err, errNone) {
		report.Because, report.Advice = "Nothing to go by: "+errNone.Error()+".", start()
	}
	if err == nil {
		if report, err = status.Ready(s, now, c.Modes); err != nil {
			return exit.Misuse, modeError(err)
		}
	} else if err := exist(c.Modes); err != nil {
		return exit.Misuse, err
	}
	if c.JSON {
		return report.ExitCode(), json.NewEncoder(out).Encode(report)
	}
	t, tone := terminal.Of(out), terminal.ToneOf(report)
	return report.ExitCode(), t.Answer(out, tone, report.TextFor(t.Room(tone)))
}

func errText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// Why explains the judgement.
func Why(c cli.Why, out io.Writer) (int, error) {
	s, now, err := Published(c.RunDir)
	if err != nil {
		return exit.Cannot, exit.With(exit.Cannot, err)
	}
	fresh := status.Fresh(s, now)
	if c.JSON {
		if err := json.NewEncoder(out).Encode(s); err != nil {
			return exit.No, err
		}
	} else {
		explain(out, c, s, fresh)
	}
	if !fresh.OK {
		return exit.Cannot, nil
	}
	return exit.OK, nil
}

// explain prints the judgement; what is old says so first.
func explain(out io.Writer, c cli.Why, s status.Snapshot, fresh status.Freshness) {
	t := terminal.Of(out)
	if !fresh.OK {
		fmt.Fprint(out, wrap.To(t.Width, "", "OLD: "+status.NoContact+". "+fresh.Because))
	}
	if c.All {
		fmt.Fprint(out, s.WhyFor(t.Width))
		return
	}
	fmt.Fprint(out, s.Brief(t.Width))
	fmt.Fprint(out, wrap.To(t.Width, "", "More: noonmark why --all."))
}
