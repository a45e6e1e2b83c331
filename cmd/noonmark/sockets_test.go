package main

import (
	"encoding/hex"
	"fmt"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"noonmark/cmd/internal/clitest"
)

// TestListeningSockets lists what a real service opens for others, from the kernel's own
// tables (proc(5)): as delivered loopback only; each setting that lets others in opens
// what it names and nothing else.
func TestListeningSockets(t *testing.T) {
	if testing.Short() {
		t.Skip("runs services in real time")
	}
	t.Parallel()
	free := func() string { return strconv.Itoa(freePort(t)) }
	page, times, share := free(), free(), free()
	for _, row := range []struct{ name, text, want string }{
		{"as delivered", "[publish]\nhttp = \"127.0.0.1:" + page + "\"\n", "tcp 127.0.0.1:" + page},
		{"no page", "[publish]\nhttp = \"\"\n", ""},
		{"time service on the station", "[publish]\nhttp = \"\"\ntime_service = \"127.0.0.1:" + times + "\"\n", "udp 127.0.0.1:" + times},
		{"sentences shared on the station", "[publish]\nhttp = \"\"\n[receiver]\nshare_tcp = \"127.0.0.1:" + share + "\"\n", "tcp 127.0.0.1:" + share},
		{"sentences sent out: nothing listens", "[publish]\nhttp = \"\"\n[receiver]\nshare_udp = \"127.0.0.1:" + share + "\"\n", ""},
		{"shared as a serial port", "[publish]\nhttp = \"\"\n[receiver]\nshare_pty = \"PTY\"\n", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir := t.TempDir()
			run, conf := filepath.Join(dir, "run"), filepath.Join(dir, "conf.toml")
			text := strings.ReplaceAll(row.text, "PTY", filepath.Join(dir, "receiver"))
			if err := os.WriteFile(conf, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
			cmd := exec.Command(clitest.Binary(t), "run", "--config", conf, "--run-dir", run, "--state-dir", filepath.Join(dir, "state"),
				"--allow-disk", "--rtc", "none", "--device", "/dev/no-receiver")
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			defer cmd.Wait()
			defer cmd.Process.Kill()
			wants := []string{}
			if row.want != "" {
				wants = strings.Split(row.want, ", ")
			}
			var got []string
			settled := time.Time{}
			for end := time.Now().Add(clitest.Patience); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
				if _, err := os.Stat(filepath.Join(run, "status.json")); err != nil {
					continue
				}
				got = listening(t, cmd.Process.Pid)
				if !slices.Equal(got, wants) {
					settled = time.Time{}
					continue
				}
				if settled.IsZero() {
					settled = time.Now()
				} else if time.Since(settled) > time.Second { // and it stays so
					return
				}
			}
			t.Errorf("opens %q, want %q", got, wants)
		})
	}
}

// listening lists the internet sockets of a process on which others could reach it:
// "tcp" that listen, "udp" that are connected to nobody.
func listening(t *testing.T, pid int) (all []string) {
	t.Helper()
	inodes := map[string]bool{}
	fds, _ := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid))
	for _, fd := range fds {
		if to, err := os.Readlink(fd); err == nil && strings.HasPrefix(to, "socket:[") {
			inodes[strings.Trim(to, "socket:[]")] = true
		}
	}
	for _, kind := range []string{"tcp", "tcp6", "udp", "udp6"} {
		b, err := os.ReadFile(fmt.Sprintf("/proc/%d/net/%s", pid, kind))
		if err != nil {
			continue // no IPv6 here
		}
		for line := range strings.Lines(string(b)) {
			f := strings.Fields(line)
			if len(f) < 10 || !inodes[f[9]] {
				continue
			}
			// State 0A is "listens"; a UDP socket connected to somebody has state 01.
			if state := f[3]; strings.HasPrefix(kind, "tcp") && state != "0A" || strings.HasPrefix(kind, "udp") && state == "01" {
				continue
			}
			at := address(t, f[1])
			if strings.HasPrefix(kind, "udp") && deaf(t, pid, kind, f[9], at) {
				continue
			}
			all = append(all, strings.TrimSuffix(kind, "6")+" "+at)
		}
	}
	slices.Sort(all)
	return all
}

// deaf tells whether the kernel drops what is sent to a UDP socket: then its count of
// drops, the last column of its line, grows.
func deaf(t *testing.T, pid int, kind, inode, at string) bool {
	t.Helper()
	drops := func() string {
		b, _ := os.ReadFile(fmt.Sprintf("/proc/%d/net/%s", pid, kind))
		for line := range strings.Lines(string(b)) {
			if f := strings.Fields(line); len(f) > 12 && f[9] == inode {
				return f[12]
			}
		}
		return "gone"
	}
	before := drops()
	_, port, _ := net.SplitHostPort(at)
	c, err := net.Dial("udp", "127.0.0.1:"+port)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if _, err := c.Write([]byte("x")); err != nil {
		return false
	}
	return drops() != before
}

// address reads "0100007F:1F90": words of four bytes in the machine's own order, here
// little-endian, and the port.
func address(t *testing.T, text string) string {
	t.Helper()
	host, port, _ := strings.Cut(text, ":")
	b, err := hex.DecodeString(host)
	n, err2 := strconv.ParseUint(port, 16, 16)
	if err != nil || err2 != nil || len(b)%4 != 0 {
		t.Fatalf("address %q", text)
	}
	for i := 0; i < len(b); i += 4 {
		slices.Reverse(b[i : i+4])
	}
	a, _ := netip.AddrFromSlice(b)
	return netip.AddrPortFrom(a.Unmap(), uint16(n)).String()
}

// freePort is a port that nobody uses just now.
func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}
