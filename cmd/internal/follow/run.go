package follow

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"noonmark/status"
)

// Rules of this package.
//
//   - When a command ends, or its time is over, or we end, all that it started is ended
//     too, wherever it hides (processes_linux.go): first asked, then killed.
//   - A command's environment is a list of its own, not ours: no credentials, no
//     sockets of the service manager.
//   - Never two of one kind at once: what comes meanwhile waits, at most maxWaiting;
//     beyond that the oldest is given up, and the next command is told how many.
//   - Nothing a command does or prints goes further than the log, and a bounded part.

const (
	maxWaiting = 8
	maxPrinted = 2 << 10         // bytes of output that are kept and logged
	grace      = 3 * time.Second // between asking and killing
)

// Outcome is what became of one command.
type Outcome struct {
	Event   Event
	Missed  int // of the same kind, given up before this one
	Took    time.Duration
	Printed string // the beginning of what it printed
	Err     error  // nil = it ended well in time
}

// ErrTooLong is the error of a command that was ended for its time was over.
var ErrTooLong = errors.New("took longer than events.limit_s and was ended")

// A Runner runs commands. Make one with NewRunner.
type Runner struct {
	limit time.Duration
	done  func(Outcome)
	kinds map[string]*kind
	jobs  *jobs
}

// kind is the queue of one kind of event.
type kind struct {
	argv []string
	wake chan struct{}

	mu     sync.Mutex
	jobs   []job
	missed int
}

type job struct {
	event Event
	input []byte
}

// NewRunner returns a Runner of the commands by kind of event; those without words
// are left out. done is called from several goroutines.
func NewRunner(commands map[string][]string, limit time.Duration, done func(Outcome)) *Runner {
	r := &Runner{limit: limit, done: done, kinds: map[string]*kind{}, jobs: newJobs()}
	for name, argv := range commands {
		if len(argv) > 0 {
			r.kinds[name] = &kind{argv: argv, wake: make(chan struct{}, 1)}
		}
	}
	return r
}

// Any reports whether there is any command.
func (r *Runner) Any() bool { return len(r.kinds) > 0 }

// Put hands an event over, with the status it was seen in (nil = none). It never waits.
func (r *Runner) Put(e Event, s *status.Snapshot) error {
	k := r.kinds[e.Kind]
	if k == nil {
		return nil
	}
	input, err := json.Marshal(struct {
		Event
		Status *status.Snapshot `json:"status"`
	}{e, s})
	if err != nil {
		return fmt.Errorf("follow: %w", err)
	}
	k.mu.Lock()
	if len(k.jobs) == maxWaiting {
		k.jobs = append(k.jobs[:0], k.jobs[1:]...)
		k.missed++
	}
	k.jobs = append(k.jobs, job{e, append(input, '\n')})
	k.mu.Unlock()
	select {
	case k.wake <- struct{}{}:
	default:
	}
	return nil
}

// Run runs commands until ctx ends, and then until those running have ended.
func (r *Runner) Run(ctx context.Context) {
	if r.Any() {
		adoptOrphans()
	}
	var all sync.WaitGroup
	for _, k := range r.kinds {
		all.Go(func() {
			for {
				select {
				case <-ctx.Done():
					return
				case <-k.wake:
				}
				for ctx.Err() == nil {
					j, missed, ok := k.next()
					if !ok {
						break
					}
					r.done(r.one(ctx, k.argv, j, missed))
				}
			}
		})
	}
	all.Wait()
}

func (k *kind) next() (j job, missed int, ok bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if len(k.jobs) == 0 {
		return job{}, 0, false
	}
	j, missed = k.jobs[0], k.missed
	k.jobs, k.missed = k.jobs[1:], 0
	return j, missed, true
}
