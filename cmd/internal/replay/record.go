package replay

import (
	"bytes"
	"fmt"
	"io"

	"noonmark/clockcheck"
	"noonmark/cmd/internal/record"
	"noonmark/cmd/internal/station"
)

// recordPlayer plays records of the service.
type recordPlayer struct {
	st     *station.Station
	head   record.Header
	last   string
	report fileReport
}

type recordOptions struct {
	modes    []clockcheck.Mode
	override bool // judge for modes, not for those of the record
	tell     bool // print what changes
}

// playRecord judges a record. One that goes on where the one before ended is judged by the
// same station, to the very same judgement as the service's; any other by a station that
// knows what had been learned when it began.
func playRecord(before *recordPlayer, path string, b []byte, o recordOptions, out io.Writer) (*recordPlayer, error) {
	r, err := record.NewReader(bytes.NewReader(b))
	if err != nil {
		return nil, fmt.Errorf("replay: %s: %w", path, err)
	}
	p := &recordPlayer{head: r.Header, report: fileReport{Path: path, Bytes: len(b), Skipped: map[string]uint64{}}}
	goesOn := before != nil && before.head.Run == r.Header.Run && before.head.Part+1 == r.Header.Part
	if goesOn {
		p.st, p.last = before.st, before.last
	} else {
		if o.override {
			p.head.Config.Judge.Modes = o.modes
		}
		if p.st, err = p.head.Station(); err != nil {
			return nil, fmt.Errorf("replay: %s: %w", path, err)
		}
	}
	if o.tell {
		fmt.Fprintf(out, "%s\n", path)
		if !goesOn && p.head.Part > 1 {
			fmt.Fprintln(out, "It is a later part, and the one before it was not named. It is judged from what had been learned by then.")
		}
	}
	if err := p.play(r, o.tell, out); err != nil {
		return nil, fmt.Errorf("replay: %s: %w", path, err)
	}
	if o.tell {
		fmt.Fprintf(out, "\n%s\nRead: %d bytes, %d inputs of the station, %d of them could not be read.\n\n", p.st.Snapshot().Why(), p.report.Bytes,
			p.report.Lines, p.report.Skipped[damagedLine])
	}
	return p, nil
}

const damagedLine = "damaged line"

func (p *recordPlayer) play(r *record.Reader, tell bool, out io.Writer) (err error) {
	var damaged uint64
	p.report.Lines, damaged, err = r.Play(p.st, func(in *station.Input) {
		if in.Tick != nil && tell {
			snap := p.st.Snapshot()
			p.last = printChange(out, p.last, clockShown(snap), snap)
		}
	})
	if damaged > 0 {
		p.report.Skipped[damagedLine] = damaged
	}
	return err
}
