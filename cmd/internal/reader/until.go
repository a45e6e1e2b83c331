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
	Reached bool          `json:"reached"`
	WaitedS float64       `json:"waited_s"`
	For     string        `json:"for"`
	Because string        `json:"because"`
	Advice  status.Advice `json:"advice"` // what to do next; of kind "none" when reached
}

// Until blocks until what it was asked for is so, or until its limit. Nothing waits
// for ever for the time.
func Until(ctx context.Context, c cli.Until, out io.Writer) (int, error) {
	if err := exist(c.Modes); err != nil {
		return exit.Misuse, err
	}
	env := config.Environment{Getenv: os.Getenv, UID: os.Getuid()}
	w := Waited{For: wanted(c)}
	look := func() (bool, string, error) {
		w.Advice = start()
		found, err := status.Find(env.ReadDirs(c.RunDir)...)
		if err != nil {
			return false, "No status is published yet.", nil
		}
		return reached(found.Status, found.Now, c, &w.Advice)
	}
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
	text := fmt.Sprintf("Reached after %s: %s.", status.Span(w.WaitedS), w.For)
	if !w.Reached {
		text = fmt.Sprintf("NOT reached in %s: %s. %s %s", status.Span(w.WaitedS), w.For, w.Because, w.Advice.Text)
		if w.Advice.Kind == status.AdviceNone { // a bound beyond what the modes want
			text = fmt.Sprintf("NOT reached in %s: %s. %s", status.Span(w.WaitedS), w.For, w.Because)
		}
	}
	fmt.Fprint(out, wrap.Text("", text))
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
func reached(s status.Snapshot, now status.Now, c cli.Until, next *status.Advice) (bool, string, error) {
	modes := c.Modes
	r, err := status.Ready(s, now, modes)
	if err != nil {
		var unknown *status.ModeError
		if errors.As(err, &unknown) && status.Fresh(s, now).OK {
			return false, "", modeError(err)
		}
		return false, "No fresh status.", nil
	}
	*next = r.Advice
	if c.Bound == 0 {
		return r.Answer == status.Yes, r.Because, nil
	}
	if r.Answer == status.CannotTell && len(r.Modes) > 0 || !r.Clock.ErrorS.OK || !r.Clock.BoundS.OK {
		return false, r.Because, nil
	}
	within := math.Abs(r.Clock.ErrorS.V) + r.Clock.BoundS.V
	if len(modes) > 0 && r.Answer != status.Yes {
		return false, r.Because, nil
	}
	return within <= c.Bound, r.Because, nil
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
		return fmt.Sprintf("the clock right to %g s (99 %%)", c.Bound)
	}
	return fmt.Sprintf("%s within and the clock right to %g s (99 %%)", modes, c.Bound)
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
