package inspect

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"noonmark/cmd/internal/ask"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/hostclock"
	"noonmark/gnss/port"
)

const probeFor = 30 * time.Second // all the usual speeds are listened to

// portReport is one port as printed in JSON.
type portReport struct {
	Path      string `json:"path"`
	ByID      string `json:"by_id"`
	Driver    string `json:"driver"`
	VID       string `json:"usb_vendor"`
	PID       string `json:"usb_product"`
	Product   string `json:"product"`
	WouldOpen bool   `json:"would_open"`
	Because   string `json:"because"`
}

// Ports lists what there is, from what the kernel tells of it; it opens nothing
// unless a probe is asked for.
func Ports(ctx context.Context, c cli.Ports, in io.Reader, out io.Writer) error {
	if c.Probe != "" {
		return probe(ctx, c, in, out)
	}
	list, err := port.List("/sys", "/dev")
	if err != nil {
		return err
	}
	if c.JSON {
		reports := []portReport{}
		for _, p := range list {
			reports = append(reports, portReport{p.Path, p.ByID, p.Driver, p.VID, p.PID, p.Product, p.WouldOpen, p.Why})
		}
		return json.NewEncoder(out).Encode(reports)
	}
	if len(list) == 0 {
		fmt.Fprintln(out, "No serial port is there. Plug the receiver in.")
	}
	for _, p := range list {
		fmt.Fprintf(out, "%-16s %s\n", p.Path, p.Verdict)
		for _, line := range []string{p.Why, p.ByID, strings.TrimSpace(p.Manufacturer + " " + p.Product)} {
			if line != "" {
				fmt.Fprintf(out, "    %s\n", printable(line))
			}
		}
	}
	return nil
}

// printable keeps a device's own words from playing with the terminal.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r > 0x7e && r < 0xa0 {
			return '?'
		}
		return r
	}, s)
}

// probe opens a port after a warning and says what it hears.
func probe(ctx context.Context, c cli.Ports, in io.Reader, out io.Writer) error {
	if !c.Yes {
		fmt.Fprintf(out, "Opening %s raises its control lines. On many stations that keys the transmitter.\nSwitch the transmitter off or unplug its cable first. Type yes to open it: ", c.Probe)
		line, err := ask.New(in).Next(ctx)
		if err != nil {
			return fmt.Errorf("ports: %s is not opened: %w", c.Probe, err)
		}
		if strings.TrimSpace(line) != "yes" {
			fmt.Fprintln(out, "\nNot opened.")
			return nil
		}
	}
	ctx, stop := context.WithTimeout(ctx, probeFor)
	defer stop()
	heard := false
	err := port.Run(ctx, port.Config{Device: c.Probe}, hostclock.Now, func(e port.Event) {
		switch e.Kind {
		case port.Heard:
			heard = true
			fmt.Fprintf(out, "A receiver sends here at %d baud.\n", e.Baud)
			stop()
		case port.Data:
		default:
			if e.Reason != "" {
				fmt.Fprintf(out, "%s: %s\n", e.Kind, printable(e.Reason))
			}
		}
	})
	if err != nil && !errors.Is(err, io.EOF) {
		return exit.Usage(err)
	}
	if !heard {
		fmt.Fprintf(out, "No receiver was heard within %s.\n", probeFor)
	}
	return nil
}
