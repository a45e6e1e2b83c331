package reader

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"time"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/sleep"
	"noonmark/cmd/internal/wrap"
	"noonmark/status"
)

// Waited is what until prints.
type Waited struct {
	Reached bool    `json:"reached"`
	WaitedS float64 `json:"waited_s"`
	For     string  `json:"for"`
	Because string  `json:"because"`
}

// Until blocks until what it was asked for is so, or until its limit. Nothing waits
// for ever for the time.
func Until(ctx context.Context, c cli.Until, out io.Writer) (int, error) {
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	look := func() (bool, string, error) {
		now, err := status.ReadNow()
		if err != nil {
			return false, "", err
		}
		s, _, err := status.Find(now, env.ReadDirs(c.RunDir)...)
		if err != nil {
			return false, "No status is published yet: is the service running?", nil
		}
		return reached(s, now, c)
	}
	w := Waited{For: wanted(c)}
	begin := time.Now()
	var err error
	if w.Reached, w.Because, err = await(ctx, look, c.Limit); err != nil {
		return exit.Misuse, err
	}
	w.WaitedS = math.Round(time.Since(begin).Seconds()*10) / 10
	code := exit.OK
	if !w.Reached {
		code = exit.No
	}
	if c.JSON {
		return code, json.NewEncoder(out).Encode(w)
	}
	end := "Reached after"
	if !w.Reached {
		end = "NOT reached in"
	}
	fmt.Fprint(out, wrap.Text("", fmt.Sprintf("%s %s: %s. %s", end, status.Span(w.WaitedS), w.For, w.Because)))
	return code, nil
}

// await looks until it is so, the limit is up or ctx ends.
func await(ctx context.Context, look func() (bool, string, error), limit time.Duration) (bool, string, error) {
	ctx, stop := context.WithTimeout(ctx, limit)
	defer stop()
	for {
		ok, because, err := look()
		if ok || err != nil || sleep.For(ctx, LookEvery) != nil {
			return ok, because, err
		}
	}
}

// reached tells whether a status holds what c asks for, as of now.
func reached(s status.Snapshot, now status.Now, c cli.Until) (bool, string, error) {
	modes := c.Modes
	r, err := status.Ready(s, now, modes)
	if err != nil {
		var unknown *status.ModeError
		if errors.As(err, &unknown) && status.Fresh(s, now).OK {
			return false, "", exit.Usage(err)
		}
		return false, "No fresh status.", nil
	}
	if c.Bound == 0 {
		return r.Answer == status.Yes, r.Because, nil
	}
	if r.Answer == status.CannotTell && len(r.Modes) > 0 || !r.Clock.ErrorS.OK || !r.Clock.GuardS.OK {
		return false, r.Because, nil
	}
	worst := math.Abs(r.Clock.ErrorS.V) + r.Clock.GuardS.V
	if len(modes) > 0 && r.Answer != status.Yes {
		return false, r.Because, nil
	}
	return worst <= c.Bound, r.Because, nil
}

// wanted says what is waited for.
func wanted(c cli.Until) string {
	modes := "every mode that the service shows"
	if len(c.Modes) > 0 {
		modes = andList(c.Modes)
	}
	switch {
	case c.Bound == 0:
		return modes + " within"
	case len(c.Modes) == 0:
		return fmt.Sprintf("the clock right to %g s", c.Bound)
	}
	return fmt.Sprintf("%s within and the clock right to %g s", modes, c.Bound)
}

// andList joins words as a person does.
func andList(words []string) string {
	out := ""
	for i, w := range words {
		switch {
		case i == 0:
		case i == len(words)-1:
			out += " and "
		default:
			out += ", "
		}
		out += w
	}
	return out
}
