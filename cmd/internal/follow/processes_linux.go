package follow

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"

	"golang.org/x/sys/unix"
)

// What a command starts may leave its process group and its parent (setsid, a second
// fork). So this process takes such orphans over (PR_SET_CHILD_SUBREAPER, prctl(2)),
// and each command carries a mark in its environment, which its descendants inherit.
// When a command ends, all descendants of ours that carry its mark are killed, and
// those that carry no mark of a command still running. A descendant that wipes its
// environment is taken for nobody's, and ends with the first command that does.

const markName = "NOONMARK_COMMAND="

// adoptOrphans makes this process the parent of orphaned descendants.
func adoptOrphans() { _ = unix.Prctl(unix.PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0) }

// jobs are the commands that run now.
type jobs struct {
	next atomic.Uint64

	mu      sync.Mutex
	running map[int]string // mark by process
}

func newJobs() *jobs { return &jobs{running: map[int]string{}} }

// mark is a variable that no other command of this process has.
func (j *jobs) mark() string {
	return fmt.Sprintf("%s%d.%d", markName, os.Getpid(), j.next.Add(1))
}

// start starts cmd under its mark. Sweeps wait meanwhile, for a process has no mark
// before it has become the command.
func (j *jobs) start(cmd *exec.Cmd, mark string) error {
	j.mu.Lock()
	defer j.mu.Unlock()
	err := cmd.Start() // returns after the exec
	if err == nil {
		j.running[cmd.Process.Pid] = mark
	}
	return err
}

// kept is the mark of what is no command.
const kept = markName + "none"

// Keep starts a process of ours that is no command: it and what it starts are left
// alone when commands end. cmd.Env must be set.
func (r *Runner) Keep(cmd *exec.Cmd) error {
	cmd.Env = append(cmd.Env, kept)
	r.jobs.mu.Lock()
	defer r.jobs.mu.Unlock()
	return cmd.Start()
}

// sweeps bounds the rounds of end: who forks faster than it is killed is met again at
// the end of the next command.
const sweeps = 50

// end kills what a command that has ended left behind.
func (j *jobs) end(pid int, mark string) {
	j.mu.Lock()
	defer j.mu.Unlock()
	delete(j.running, pid)
	for range sweeps {
		if j.sweep() == 0 {
			return
		}
	}
}

// sweep kills each descendant that belongs to no running command, and returns how many
// there were. Nobody else waits for them: they are children of children.
func (j *jobs) sweep() (killed int) {
	alive := map[string]bool{kept: true}
	for _, m := range j.running {
		alive[m] = true
	}
	for _, p := range descendants(os.Getpid()) {
		if _, ours := j.running[p.pid]; ours || alive[p.mark] {
			continue
		}
		if p.zombie {
			_, _ = unix.Wait4(p.pid, nil, unix.WNOHANG, nil) // taken over, and ended
			continue
		}
		if unix.Kill(p.pid, unix.SIGKILL) == nil {
			killed++
		}
	}
	return killed
}

// process is one descendant.
type process struct {
	pid    int
	mark   string
	zombie bool
}

// descendants lists all processes below root, from proc(5).
func descendants(root int) (all []process) {
	parents := map[int]int{}
	zombies := map[int]bool{}
	entries, err := os.ReadDir("/proc")
	if err != nil {
		return nil
	}
	for _, e := range entries {
		pid, err := strconv.Atoi(e.Name())
		if err != nil {
			continue
		}
		if parent, state, ok := parentOf(pid); ok {
			parents[pid], zombies[pid] = parent, state == 'Z'
		}
	}
	for pid := range parents {
		up := pid
		for steps := 0; up != root && up > 1 && steps < 1000; steps++ {
			up = parents[up]
		}
		if up != root || pid == root {
			continue
		}
		all = append(all, process{pid: pid, mark: markOf(pid), zombie: zombies[pid]})
	}
	return all
}

// parentOf reads proc(5), /proc/PID/stat: the name in brackets may hold anything.
func parentOf(pid int) (parent int, state byte, ok bool) {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0, 0, false
	}
	f := strings.Fields(string(b[bytes.LastIndexByte(b, ')')+1:]))
	if len(f) < 2 {
		return 0, 0, false
	}
	parent, err = strconv.Atoi(f[1])
	return parent, f[0][0], err == nil
}

func markOf(pid int) string {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/environ", pid))
	if err != nil {
		return ""
	}
	for _, v := range bytes.Split(b, []byte{0}) {
		if bytes.HasPrefix(v, []byte(markName)) {
			return string(v)
		}
	}
	return ""
}
