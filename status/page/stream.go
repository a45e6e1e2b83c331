package page

import (
	"bytes"
	"compress/flate"
	"encoding/json"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"time"

	"noonmark/clockcheck/timescale"
)

// Rules of the stream.
//
//   - An event is packed once for all who look at the same mode. Each is a stretch of
//     deflate of its own (RFC 1951 §3.2: blocks that refer to nothing before them, ended
//     at a byte by an empty stored block), so that one reader's stream is the gzip header
//     and the same stretches as everybody's (RFC 1952).
//   - A part comes again only when it has changed since what the reader says it has.

const (
	maxStreams   = 400             // as many as the server of the page has places
	writeTimeout = 5 * time.Second // a reader that takes nothing for so long is let go
)

// gzipHead begins a gzip stream without name and time (RFC 1952 §2.3).
var gzipHead = []byte{0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255}

// event is what the stream says of a frame. Times are milliseconds: BootMS, the instant
// of the judgement, on the station's boot clock; UTCMS as judged at that instant.
type event struct {
	Run     string            `json:"run"` // of the program that judged
	Seq     int64             `json:"seq"`
	BootMS  float64           `json:"boot"`
	UTCMS   *float64          `json:"utc"`             // null = not known
	Speed   float64           `json:"speed,omitempty"` // 0 = 1
	Live    bool              `json:"live"`
	BoundS  *float64          `json:"bound"` // 99 %
	GuardS  *float64          `json:"guard"` // the worst case
	State   string            `json:"state"` // the verdict
	Caution bool              `json:"caution,omitempty"`
	Parts   map[string]string `json:"parts,omitempty"`
}

// packer makes stretches of deflate.
type packer struct {
	mu sync.Mutex
	w  *flate.Writer
}

func (p *packer) pack(b []byte) ([]byte, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	var out bytes.Buffer
	if p.w == nil {
		w, err := flate.NewWriter(&out, flate.DefaultCompression)
		if err != nil {
			return nil, err
		}
		p.w = w
	}
	p.w.Reset(&out)
	if _, err := p.w.Write(b); err != nil {
		return nil, err
	}
	if err := p.w.Flush(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// sent is an event as it goes out.
type sent struct{ plain, packed []byte }

func (s *sent) bytes(packed bool) []byte {
	if packed {
		return s.packed
	}
	return s.plain
}

// encode writes an event as the stream carries it: JSON has no line break.
func (p *Page) encode(e event) (*sent, error) {
	var b bytes.Buffer
	b.WriteString("data:")
	j := json.NewEncoder(&b)
	j.SetEscapeHTML(false) // it is read as JSON, and is shorter so
	if err := j.Encode(e); err != nil {
		return nil, fmt.Errorf("page: %w", err)
	}
	b.WriteByte('\n')
	packed, err := p.packer.pack(b.Bytes())
	if err != nil {
		return nil, fmt.Errorf("page: %w", err)
	}
	return &sent{b.Bytes(), packed}, nil
}

// seen is the frame that a reader says it has, 0 if it is none of this run.
func (p *Page) seen(r *http.Request) int64 {
	run, seq, _ := strings.Cut(r.FormValue("seen"), ".")
	n, err := strconv.ParseInt(seq, 10, 64)
	if err != nil || run != p.run || n < 0 {
		return 0
	}
	return n
}

// live sends events until the reader leaves or takes nothing.
func (p *Page) live(w http.ResponseWriter, r *http.Request) {
	if !p.enter() {
		w.Header().Set("Retry-After", "10")
		http.Error(w, "Too many screens are open: close one.", http.StatusServiceUnavailable)
		return
	}
	defer p.leave()
	v := p.hold(p.known(r.FormValue("mode")))
	defer p.drop(v)
	out := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	packed := acceptsGzip(r)
	send := func(b []byte) bool {
		if out.SetWriteDeadline(time.Now().Add(writeTimeout)) != nil {
			return false // a writer that cannot be given up on would hold us for ever
		}
		_, err := w.Write(b)
		return err == nil && out.Flush() == nil
	}
	begin := []byte(":\n\n")
	if packed {
		w.Header().Set("Content-Encoding", "gzip")
		begin = gzipHead
	}
	if !send(begin) {
		return
	}
	for seen, first := p.seen(r), true; ; first = false {
		f, changed := p.current()
		if p.fresh(f) {
			e, now, err := p.event(v, f, seen, first)
			if err != nil || e != nil && !send(e.bytes(packed)) {
				return
			}
			seen = now
		}
		select {
		case <-changed:
		case <-r.Context().Done():
			return
		}
	}
}

func (p *Page) enter() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.streams >= maxStreams {
		return false
	}
	p.streams++
	return true
}

func (p *Page) leave() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.streams--
}

// millis is an instant in milliseconds, to a hundredth.
func millis(l timescale.Local) float64 { return float64(l/10_000) / 100 }

// exchange is one round of comparing clocks: when the question came and when the answer
// left, on this machine's boot clock, and its own timescale at that instant; milliseconds.
func (p *Page) exchange(w http.ResponseWriter, _ *http.Request) {
	came := p.cfg.Boot()
	own := p.cfg.Now()
	left := p.cfg.Boot()
	w.Header().Set("Content-Type", "application/json")
	fmt.Fprintf(w, `{"run":%q,"came":%.3f,"left":%.3f,"own":%.3f}`, p.run, float64(came)/1e6, float64(left)/1e6, float64(own)/1e6)
}
