// Package replay is noonmark replay: recorded sentences, judged in virtual time.
package replay

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"sort"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/record"
	"noonmark/cmd/internal/settings"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/terminal"
	"noonmark/cmd/internal/wrap"
	"noonmark/gnss"
	"noonmark/status"
)

// fileReport is what a replay tells of one capture: UTC as the receiver said it.
type fileReport struct {
	Path        string            `json:"path"`
	Bytes       int               `json:"bytes"`
	Lines       uint64            `json:"lines"`
	Sentences   uint64            `json:"sentences"`
	Skipped     map[string]uint64 `json:"skipped"`
	Epochs      uint64            `json:"epochs"`
	EpochsValid uint64            `json:"epochs_valid"`
	FirstUTC    *string           `json:"first_utc"`
	LastUTC     *string           `json:"last_utc"`
	MeanLatDeg  *float64          `json:"mean_lat_deg"`
	MeanLonDeg  *float64          `json:"mean_lon_deg"`
}

type replayReport struct {
	Files  []fileReport    `json:"files"`
	Status status.Snapshot `json:"status"`
}

// Files is the command.
func Files(c cli.Replay, out io.Writer) error {
	modes := settings.ShownModes()
	if len(c.Mode) > 0 {
		set := config.Default()
		set.Modes.Show = c.Mode
		var err error
		if modes, err = settings.ModesShown(set); err != nil {
			return exit.Usage(err)
		}
	}
	if err := replay(c, modes, out); err != nil {
		return exit.Usage(err)
	}
	return nil
}

// replay judges recorded sentences in virtual time. A capture that carries the
// host's own stamps at the head of its lines is played by them; any other is
// played by the times its sentences name, each burst arriving at once.
func replay(c cli.Replay, modes []clockcheck.Mode, out io.Writer) error {
	report := replayReport{}
	var chain *recordPlayer // of the file before, if that was a record
	for _, path := range c.Files {
		b, err := os.ReadFile(path)
		if err != nil {
			return fmt.Errorf("replay: %w", err)
		}
		if record.Is(b) {
			if chain, err = playRecord(chain, path, b, recordOptions{modes, len(c.Mode) > 0, !c.JSON}, out); err != nil {
				return err
			}
			report.Files, report.Status = append(report.Files, chain.report), *chain.st.Snapshot()
			continue
		}
		if err := noSentences(path, b); err != nil {
			return err
		}
		p := newPlayer(modes)
		if !c.JSON {
			p.changes, p.bar = out, terminal.Of(out).Progress()
			fmt.Fprintf(out, "%s\n", path)
		}
		r := p.play(path, b)
		report.Files, report.Status = append(report.Files, r), *p.snap
		if !c.JSON {
			printReplay(out, r, p.snap)
		}
	}
	if c.JSON {
		return json.NewEncoder(out).Encode(report)
	}
	return nil
}

// noSentences says in one sentence that a file is no recording; nil where a line looks
// like a sentence of NMEA 0183, whole or damaged.
func noSentences(path string, b []byte) error {
	for line := range bytes.Lines(b) {
		if i := bytes.IndexAny(line, "$!"); i >= 0 && len(line) > i+6 && bytes.IndexByte(line[i:], ',') >= 0 {
			return nil
		}
	}
	if head := bytes.TrimSpace(b[:min(len(b), 4096)]); bytes.Contains(head, []byte("<gpx")) {
		return fmt.Errorf("replay: %s is a GPX track, not a recording of NMEA sentences: noonmark grid --track %s", path, path)
	}
	return fmt.Errorf("replay: %s holds no NMEA sentence: name a recording of what a receiver sent", path)
}

// player plays one capture.
type player struct {
	st      *station.Station
	local   timescale.Local
	ticked  timescale.Local
	origin  int64 // ns: the capture's own time − local
	set     bool  // origin is known
	stamped bool  // the lines carry the host's stamps
	lastTOD time.Duration
	named   bool
	changes io.Writer
	bar     *terminal.Progress // nil = none
	last    string
	snap    *status.Snapshot
}

func newPlayer(modes []clockcheck.Mode) *player {
	p := &player{local: 1e9, ticked: 1e9}
	p.st = station.New(station.Config{Judge: clockcheck.Config{Modes: modes}, LocatorLength: 10, Steering: "replay"}, clockcheck.Learned{})
	p.st.RTCMissing("A replay has no hardware clock.")
	p.st.OnEpoch(p.start)
	return p
}

func (p *player) play(path string, b []byte) fileReport {
	p.stamped = hostStamped(b)
	p.st.Opened(station.Source{Device: path, Identity: path}, p.local)
	p.local += 1e9
	done, shown := 0, 0
	for line := range bytes.Lines(b) {
		p.advance(line)
		p.st.Bytes(line, station.Read{At: p.local})
		if done += len(line); p.bar != nil && done-shown >= barEvery {
			shown = done
			p.bar.Show(float64(done)/float64(len(b)), fmt.Sprintf("%.1f of %.1f MB", float64(done)/1e6, float64(len(b))/1e6))
		}
	}
	p.clearBar()
	p.local += 2e9
	p.tick()
	return read(path, b)
}

// barEvery is how many bytes pass between two pictures of the bar: a few each second.
const barEvery = 2 << 20

func (p *player) clearBar() {
	if p.bar != nil {
		p.bar.Clear()
	}
}

// start notes the capture's own time at its first dated epoch.
func (p *player) start(e *gnss.Epoch) {
	if utc, ok := e.UTC(); ok && !p.stamped && !p.set {
		p.origin, p.set = int64(utc)-int64(e.Arrival), true
	}
}

// advance lets the capture's time pass up to this line.
func (p *player) advance(line []byte) {
	if p.stamped {
		if at, ok := hostStamp(line); ok {
			if !p.set {
				p.origin, p.set = int64(at)-int64(p.local), true
			}
			p.pass(timescale.Local(int64(at) - p.origin).Sub(p.local))
		}
		return
	}
	tod, ok := namedTime(line)
	if !ok {
		return
	}
	if p.named {
		d := (tod - p.lastTOD + 36*time.Hour) % (24 * time.Hour) // 12 h stands for no step
		if d -= 12 * time.Hour; d < 0 {
			return // a sentence of an earlier instant: no time passes
		}
		p.pass(d)
	}
	p.lastTOD, p.named = tod, true
}

// longPause: in a pause longer than this the judge is asked once a minute only.
const longPause = 10 * time.Minute

func (p *player) pass(d time.Duration) {
	end := p.local.Add(max(d, 0))
	step := time.Second
	if d > longPause {
		step = time.Minute
	}
	for end.Sub(p.ticked) >= step {
		p.local = p.ticked.Add(step)
		p.tick()
	}
	p.local = end
}

// tick judges; the clock that is judged is the host's of the capture, or else the
// capture's own time.
func (p *player) tick() {
	p.ticked = p.local
	p.snap = p.st.Tick(station.Tick{Local: p.local, System: timescale.UTC(int64(p.local) + p.origin), BoottimeS: p.local.Sub(0).Seconds()})
	if p.changes == nil {
		return
	}
	at := "Before the first date"
	if p.set {
		at = clockShown(p.snap)
	}
	p.clearBar()
	p.last = printChange(p.changes, p.last, at, p.snap)
}

// clockShown is what the clock that is judged shows.
func clockShown(s *status.Snapshot) string {
	return s.Written.SystemUTC.V.Time().Format("2006-01-02 15:04:05") + " UTC"
}

// printChange prints a judgement that is another one than the last, and returns it.
func printChange(out io.Writer, last, at string, s *status.Snapshot) string {
	head := s.Clock.Basis
	for _, m := range s.Modes {
		head += " " + m.Mode + "=" + m.Verdict
	}
	if head != last {
		fmt.Fprintf(out, "%s\n%s%s", at, wrap.Text("  ", head), wrap.Text("    ", s.Clock.Because))
	}
	return head
}

func printReplay(out io.Writer, r fileReport, s *status.Snapshot) {
	fmt.Fprintf(out, "\n%s\n", s.Why())
	fmt.Fprintf(out, "Read: %d bytes, %d lines, %d sentences, %d epochs, %d of them valid.\n", r.Bytes, r.Lines, r.Sentences, r.Epochs, r.EpochsValid)
	reasons := make([]string, 0, len(r.Skipped))
	for why := range r.Skipped {
		reasons = append(reasons, why)
	}
	sort.Strings(reasons)
	for _, why := range reasons {
		fmt.Fprintf(out, "  skipped %6d  %s\n", r.Skipped[why], why)
	}
	fmt.Fprintln(out)
}
