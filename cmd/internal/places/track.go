package places

import (
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/cmd/internal/replay"
	"noonmark/gnss"
	"noonmark/grid"
	"noonmark/grid/track"
)

// trackLength is the locator's length where none is asked for.
const trackLength = 6

// trackReader makes a walk of a recording; what is no dated fix is counted by reason.
type trackReader struct {
	walk    *track.Walk
	fixes   int
	skipped map[string]int
}

// Track lists the locators that a recorded track visits.
func Track(c cli.Grid, in io.Reader, out, errOut io.Writer) (int, error) {
	if c.Track != "-" {
		f, err := os.Open(c.Track)
		if err != nil {
			return exit.Misuse, exit.Usage(fmt.Errorf("track: %w", err))
		}
		defer f.Close()
		in = f
	}
	if c.Length == 0 {
		c.Length = trackLength
	}
	t := trackReader{walk: track.New(c.Length), skipped: map[string]int{}}
	broken := t.read(in)
	if t.fixes == 0 {
		return exit.No, errors.Join(fmt.Errorf("track: no fix with a date and time in %s; %s", c.Track, t.summary()), broken)
	}
	if err := t.print(c, out, errOut); err != nil {
		return exit.No, err
	}
	if broken != nil {
		return exit.No, fmt.Errorf("track: %s ends in the middle, what came before was used: %w", c.Track, broken)
	}
	return exit.OK, nil
}

// read takes GPX or NMEA: GPX is XML and begins with <, a sentence does not.
func (t *trackReader) read(in io.Reader) error {
	r := bufio.NewReader(in)
	head, err := r.Peek(64)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if bytes.HasPrefix(bytes.TrimLeft(head, "\ufeff \t\r\n"), []byte("<")) {
		return t.gpx(r)
	}
	return t.nmea(r)
}

func (t *trackReader) fix(at timescale.UTC, p grid.Point) {
	if t.walk.Fix(at, p) {
		t.fixes++
	} else {
		t.skipped["not later than the one before"]++
	}
}

// nmea reads sentences through the decoder that the service uses. Only fixes that
// the receiver itself calls valid count.
func (t *trackReader) nmea(r io.Reader) error {
	d := gnss.NewDecoder(gnss.Config{})
	var before timescale.UTC
	drain := func() {
		for e, ok := d.Next(); ok; e, ok = d.Next() {
			utc, dated := replay.EpochUTC(&e, before)
			switch {
			case e.Repeated:
				t.skipped["repeated by the receiver"]++
			case !e.HasTime:
				t.skipped["without a time"]++
			case !e.Valid || !e.HasPosition:
				t.skipped["not a valid fix"]++
			case !dated:
				t.skipped["without a date"]++
			default:
				t.place(utc, e.Lat.Deg(), e.Lon.Deg())
			}
			if dated && e.HasTime && !e.Repeated {
				before = utc
			}
		}
	}
	buf := make([]byte, 64<<10)
	for {
		n, err := r.Read(buf)
		d.Feed(buf[:n], 1)
		drain()
		if err != nil {
			d.Flush(timescale.Local(time.Minute))
			drain()
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
	}
}

func (t *trackReader) place(at timescale.UTC, lat, lon float64) {
	p, err := grid.Degrees(lat, lon)
	if err != nil {
		t.skipped["no place on Earth"]++
		return
	}
	t.fix(at, p)
}

// gpx reads the track points of GPX 1.0 or 1.1 one by one, so that a point that is
// damaged, or a file cut short, costs no more than itself.
func (t *trackReader) gpx(r io.Reader) error {
	d := xml.NewDecoder(r)
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		start, ok := token.(xml.StartElement)
		switch {
		case ok && start.Name.Local == "trkseg": // a new one where reception was lost
			t.walk.Break()
		case ok && start.Name.Local == "trkpt":
			var p struct {
				Lat  string `xml:"lat,attr"`
				Lon  string `xml:"lon,attr"`
				Time string `xml:"time"`
			}
			if err := d.DecodeElement(&p, &start); err != nil {
				return err
			}
			t.point(p.Lat, p.Lon, strings.TrimSpace(p.Time))
		}
	}
}

// point takes a track point as written. GPX times are UTC, also without a Z.
func (t *trackReader) point(lat, lon, text string) {
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		at, err = time.Parse("2006-01-02T15:04:05.999999999", text)
	}
	latDeg, err1 := strconv.ParseFloat(strings.TrimSpace(lat), 64)
	lonDeg, err2 := strconv.ParseFloat(strings.TrimSpace(lon), 64)
	switch {
	case text == "":
		t.skipped["without a time"]++
	case err != nil || at.Year() < 1980 || at.Year() > 2200: // what UTC holds, with room
		t.skipped["without a readable time"]++
	case err1 != nil || err2 != nil:
		t.skipped["without a position"]++
	default:
		t.place(timescale.UTCOf(at), latDeg, lonDeg)
	}
}
