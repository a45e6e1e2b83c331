package places

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"

	"noonmark/cmd/internal/cli"
	"noonmark/cmd/internal/exit"
	"noonmark/grid"
)

// A list is read in chunks of whole lines; as many goroutines as the machine has
// cores answer them, and one writes the answers in the order of the lines. Only a
// few chunks are in memory at a time, however long the list.

const (
	chunkSize = 64 << 10
	batchSize = 128
	maxLine   = 1 << 20 // a line without an end is no list
)

// chunk is some whole lines of the list and what became of them.
type chunk struct {
	text    []byte
	first   int // number of its first line, from 1
	header  int // number of the line that is a header, 0 = none
	out     []byte
	batch   []row
	rows    int
	notes   []string // bad lines and notes, each with its number
	bad     int
	checked chan struct{} // closed when the fields above are final
}

// pathList answers for every place of a list.
func pathList(c cli.Path, in io.Reader, out, errOut io.Writer) (int, error) {
	if c.List != "-" {
		f, err := os.Open(c.List)
		if err != nil {
			return exit.Misuse, exit.Usage(fmt.Errorf("path: %w", err))
		}
		defer f.Close()
		if in = f; binary(f) {
			return exit.Misuse, exit.Usage(fmt.Errorf("path: %s is no list of places, but a file of bytes", c.List))
		}
	}
	from, err := startOf(strings.Join(c.Words, " "), c.RunDir)
	if err != nil {
		return exit.Misuse, err
	}
	io.WriteString(errOut, mark(from))
	form := rowFormat{head: textHead, row: appendTextRow}
	switch {
	case c.JSON:
		form = rowFormat{row: appendJSONRow}
	case c.CSV:
		form = rowFormat{head: csvHead, row: appendCSVRow}
	}
	if _, err := io.WriteString(out, form.head); err != nil {
		return exit.No, err
	}
	rows, bad, err := answerList(&lister{from: from.end, form: form}, in, out, errOut)
	switch {
	case err != nil:
		return exit.No, fmt.Errorf("path: %w", err)
	case bad > 0 && rows == 0 && c.List != "-":
		return exit.No, fmt.Errorf("path: %s is no list of places: none of its %d lines is one. A list has one place a line", c.List, bad)
	case bad > 0:
		return exit.No, fmt.Errorf("path: %d of %d places could not be read", bad, rows+bad)
	}
	return exit.OK, nil
}

// binary tells whether a file begins with what no text holds.
func binary(f io.ReaderAt) bool {
	head := make([]byte, 4096)
	n, _ := f.ReadAt(head, 0)
	return bytes.IndexByte(head[:n], 0) >= 0
}

// answerList runs the pipeline and gives the number of answers and of bad lines.
func answerList(l *lister, in io.Reader, out, errOut io.Writer) (rows, bad int, err error) {
	workers := runtime.GOMAXPROCS(0)
	work := make(chan *chunk, workers)
	inOrder := make(chan *chunk, 2*workers)
	var wait sync.WaitGroup
	for range workers {
		wait.Go(func() {
			for c := range work {
				l.answer(c)
				close(c.checked)
			}
		})
	}
	var writeFailed atomic.Bool
	var readErr error
	wait.Go(func() {
		readErr = readChunks(in, func(c *chunk) bool {
			l.look(c)
			inOrder <- c
			work <- c
			return !writeFailed.Load()
		})
		close(work)
		close(inOrder)
	})
	for c := range inOrder {
		<-c.checked
		rows, bad = rows+c.rows, bad+c.bad
		if err == nil {
			if _, err = out.Write(c.out); err != nil {
				writeFailed.Store(true)
			}
			for _, n := range c.notes {
				fmt.Fprintln(errOut, n)
			}
		}
		chunks.Put(c)
	}
	wait.Wait()
	return rows, bad, errors.Join(err, readErr)
}

var chunks = sync.Pool{New: func() any { return new(chunk) }}

// readChunks cuts the list at ends of lines, as it comes in: a list that is typed
// is answered line by line.
func readChunks(in io.Reader, send func(*chunk) bool) error {
	var rest []byte
	for first := 1; ; {
		c := chunks.Get().(*chunk)
		*c = chunk{text: append(c.text[:0], rest...), out: c.out[:0], batch: c.batch, first: first, checked: make(chan struct{})}
		var err error
		cut := -1
		for cut < 0 && err == nil {
			if len(c.text) > maxLine {
				return fmt.Errorf("line %d is longer than %d bytes", first, maxLine)
			}
			from := len(c.text)
			c.text = append(c.text, make([]byte, chunkSize)...)
			var n int
			n, err = in.Read(c.text[from:])
			c.text = c.text[:from+n]
			if i := bytes.LastIndexByte(c.text[from:], '\n'); i >= 0 {
				cut = from + i + 1
			}
		}
		if err != nil { // the last line may lack its end
			cut = len(c.text)
		}
		rest = append(rest[:0], c.text[cut:]...)
		c.text = c.text[:cut]
		first += bytes.Count(c.text, []byte("\n"))
		if !send(c) || errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

// lister answers lines: from there to the place that each names.
type lister struct {
	from   grid.End
	form   rowFormat
	looked bool     // at the first line
	by     *columns // nil: a place a line
}

// look looks for a header in the first line that is not empty; the chunks come in order.
func (l *lister) look(c *chunk) {
	if l.looked {
		return
	}
	for number, line := range strings.Split(string(c.text), "\n") {
		if l.looked {
			return
		}
		if line = strings.TrimSpace(strings.TrimPrefix(line, "\ufeff")); line != "" && line[0] != '#' {
			l.looked = true
			if l.by = headerOf(line); l.by != nil {
				c.header = c.first + number
			}
		}
	}
}

// divide gives the place and the name in a line.
func (l *lister) divide(text string) (place, name string, err error) {
	if l.by == nil {
		place, name, _ = strings.Cut(text, "#")
		return strings.TrimSpace(place), strings.TrimSpace(name), nil
	}
	if text = strings.TrimSpace(text); text == "" || text[0] == '#' {
		return "", "", nil
	}
	return l.by.place(text)
}

// row is one answer.
type row struct {
	number      int // of the line
	place, name string
	end         grid.End
	line        grid.Line
	bound       grid.Bound
}

// answer fills in what became of the lines of c.
func (l *lister) answer(c *chunk) {
	rest := string(c.text)
	if c.first == 1 {
		rest = strings.TrimPrefix(rest, "\ufeff") // some editors begin a file with it
	}
	if c.batch == nil {
		c.batch = make([]row, 0, batchSize)
	}
	batch := c.batch
	for number := c.first; rest != ""; number++ {
		var text string
		text, rest, _ = strings.Cut(rest, "\n")
		if number == c.header {
			continue
		}
		place, name, err := l.divide(text)
		if place == "" && err == nil {
			continue
		}
		batch = batch[:len(batch)+1]
		r := &batch[len(batch)-1]
		var note string
		if err == nil {
			note, err = grid.ParseEnd(place, &r.end)
		}
		if err != nil {
			c.bad++
			c.notes = append(c.notes, fmt.Sprintf("line %d: %v", number, pointAt(place, err)))
			batch = batch[:len(batch)-1]
			continue
		}
		if note != "" {
			c.notes = append(c.notes, fmt.Sprintf("line %d: %s", number, note))
		}
		r.number, r.place, r.name = number, place, name
		if len(batch) == batchSize {
			l.measure(c, batch)
			batch = batch[:0]
		}
	}
	l.measure(c, batch)
}

// measure answers a batch. Each of its loops keeps to one task, which the
// processor does faster than three in turn.
func (l *lister) measure(c *chunk, batch []row) {
	for i := range batch {
		batch[i].line, batch[i].bound = l.from.To(&batch[i].end)
	}
	for i := range batch {
		c.out = l.form.row(c.out, &batch[i])
	}
	c.rows += len(batch)
}
