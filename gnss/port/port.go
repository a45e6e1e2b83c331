package port

import (
	"fmt"
	"time"

	"noonmark/clockcheck/timescale"
)

// Config says where the bytes come from.
type Config struct {
	// Device is "auto" (or empty); a path (a serial port, /dev/gnss0, a pty, a
	// FIFO, a plain file); "tcp://host:port"; or "udp://[host]:port", where a
	// host is the local address, or the multicast group, to listen on.
	Device string

	// Baud is the speed of a serial port in bits a second; 0 = find it by
	// listening. It means nothing for other sources.
	Baud int

	// Pinned is the Identity of an earlier Heard event of this station; the
	// zero value = none. It counts only for the name it was found under.
	Pinned Identity

	// Prompt hands bytes on within 20 ms, for those who pass them to other
	// programs; otherwise they may wait up to 0.7 s, which saves wake-ups. What
	// is said of a burst's arrival is the same either way.
	Prompt bool
}

// Identity is what was behind a name when it delivered sentences. Fields that
// are not known are empty. It is meant to be stored and given back as Pinned.
type Identity struct {
	Name   string `json:"name"`             // the configured path, or the one "auto" chose
	VID    string `json:"vid,omitempty"`    // USB vendor, four hex digits, lower case
	PID    string `json:"pid,omitempty"`    // USB product, likewise
	Serial string `json:"serial,omitempty"` // USB serial number
	Socket string `json:"socket,omitempty"` // USB socket, such as "1-1.4"
	Part   string `json:"part,omitempty"`   // interface of that device, such as "1.0"
}

// Kind is what an Event tells.
type Kind uint8

const (
	// Waiting: no bytes to be had for now; Run keeps trying. Said once for each
	// reason, not at each try. After Opened it means that the port is open but
	// delivers no sentences.
	Waiting Kind = iota
	// Refused: something is there but is not opened, or cannot be; Run keeps
	// looking, slowly. Reason holds the remedy.
	Refused
	// Opened: Path is open; Identity says what it is.
	Opened
	// Heard: sentences with right checksums are coming in, at Baud (0 where
	// there is no speed). Identity is what to store. Said again when they come
	// back after a Waiting, or at another speed.
	Heard
	// Data: bytes.
	Data
	// Lost: the source ended or was unplugged. It is looked for again, except
	// after the end of a plain file.
	Lost
)

// String returns the kind in lower case.
func (k Kind) String() string {
	names := [...]string{"waiting", "refused", "opened", "heard", "data", "lost"}
	if int(k) < len(names) {
		return names[k]
	}
	return fmt.Sprintf("kind %d", k)
}

// Event is one thing that happened.
type Event struct {
	Kind Kind
	At   timescale.Local // for Data: right after the read that took the bytes

	// Data are the bytes read, at most 4096. The slice is used again after
	// the sink returns.
	Data []byte
	// Quiet is the silence before this Data that was really observed; 0 if the
	// bytes may have waited while the reader rested.
	Quiet time.Duration
	// First says that Quiet is at least 50 ms and the Data not Stale: At is the
	// arrival of a burst's first byte.
	First bool
	// Stale marks bytes that may have been waiting when the source was opened,
	// and all bytes of a plain file: At is no evidence of time. It ends with
	// the first 50 ms of silence, or 3 s after opening.
	Stale bool

	Baud     int    // Heard: bits a second
	Path     string // Opened and after: what is open
	Identity Identity
	Reason   string // one plain sentence, with the remedy where there is one
}

// quietFor is the silence that separates two bursts.
const quietFor = 50 * time.Millisecond

// staleFor ends Stale on a source that never pauses. A kernel buffer holds at
// most 64 KiB and is emptied in milliseconds; a backlog on a network comes at
// full speed.
const staleFor = 3 * time.Second
