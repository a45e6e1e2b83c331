package preflight

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/leaps"
	"noonmark/clockcheck/steer"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/keep"
	"noonmark/rtc"
)

var today = timescale.UTCOf(time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)) // before the test list ends

// put writes files below root; "->x" makes a link.
func put(t *testing.T, root string, files map[string]string) {
	t.Helper()
	for name, text := range files {
		p := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(p), 0o755); err != nil {
			t.Fatal(err)
		}
		os.Remove(p)
		var err error
		if to, ok := strings.CutPrefix(text, "->"); ok {
			err = os.Symlink(to, p)
		} else {
			err = os.WriteFile(p, []byte(text), 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
}

// fakeRTC is a hardware clock that says what it is told to.
type fakeRTC struct {
	rtc.Device
	fields rtc.Fields
	flags  rtc.Flags
	mute   bool
	err    error
}

func (f fakeRTC) ReadTime() (rtc.Fields, error)       { return f.fields, f.err }
func (f fakeRTC) ReadFlags() (rtc.Flags, bool, error) { return f.flags, !f.mute, nil }
func (f fakeRTC) Close() error                        { return nil }

// station is a machine on which nothing is in the way.
func station(t *testing.T) (Host, config.Config) {
	t.Helper()
	root := t.TempDir()
	list, err := os.ReadFile("../../../clockcheck/leaps/testdata/leap-seconds.list")
	if err != nil {
		t.Fatal(err)
	}
	put(t, root, map[string]string{
		"sys/devices/platform/uart/gnss/x":                         "",
		"sys/class/gnss/gnss0/device":                              "->../../../devices/platform/uart",
		"dev/gnss0":                                                "",
		"sys/class/rtc/rtc0/name":                                  "rtc-rv3028 1-0052",
		"proc/self/status":                                         "Name:\tx\nCapEff:\t0000000002000000\n",
		"usr/lib/systemd/ntp-units.d/80-some.list":                 "# a comment\nsome-time.service\nnoonmark.service\n",
		"sys/fs/cgroup/system.slice/noonmark.service/cgroup.procs": "17\n",
		"var/lib/dpkg/status":                                      "Package: noonmark\nStatus: install ok installed\nProvides: time-daemon\n\nPackage: gone\nStatus: deinstall ok config-files\nProvides: time-daemon\n",
		leaps.Path:                                                 string(list),
		"sys/class/power_supply/BAT0/type":                         "Battery\n",
		"run/x":                                                    "", "var/lib/x": "",
	})
	var set = config.Default()
	set.Clock.Steer = true
	unsync := steer.Kernel{Bits: steer.BitUnsync}
	return Host{Root: root, RunDir: "/run/noonmark", State: "/var/lib/noonmark", Now: today,
		Kernel: func() (steer.Kernel, steer.Kernel, error) { return unsync, unsync, nil },
		OpenRTC: func(string) (rtc.Device, error) {
			return fakeRTC{fields: rtc.FieldsOf(today)}, nil
		},
		Disk: func(p string) (Disk, error) { return Disk{RAM: strings.HasPrefix(p, root+"/run"), Free: 1 << 30}, nil },
	}, set
}

func withRTC(f fakeRTC, err error) func(*Host) {
	return func(h *Host) {
		h.OpenRTC = func(string) (rtc.Device, error) {
			if err != nil {
				return nil, err
			}
			return f, nil
		}
	}
}

func kernels(before, after steer.Kernel) func(*Host) {
	return func(h *Host) {
		h.Kernel = func() (steer.Kernel, steer.Kernel, error) { return before, after, nil }
	}
}

func TestFindings(t *testing.T) {
	good := rtc.FieldsOf(today)
	write := func(name, text string) func(*Host) {
		return func(h *Host) { put(t, h.Root, map[string]string{name: text}) }
	}
	remove := func(name string) func(*Host) { return func(h *Host) { os.RemoveAll(h.Root + "/" + name) } }
	for _, row := range []struct {
		name   string
		change func(*Host)
		set    func(*config.Config)
		check  string
		state  State
		want   string
	}{
		{"no receiver", remove("sys/class/gnss"), nil, "receiver", Problem, "No receiver is there"},
		{"named, not there", nil, func(c *config.Config) { c.Receiver.Device = "/dev/ttyX9" }, "receiver", Problem, "/dev/ttyX9 is not there"},
		{"over the network", nil, func(c *config.Config) { c.Receiver.Device = "tcp://192.168.1.5:10110" }, "receiver", Good, "192.168.1.5"},
		{"no hardware clock", remove("sys/class/rtc"), nil, "hardware clock", Note, "no hardware clock"},
		{"switched off", nil, func(c *config.Config) { c.RTC.Device = "none" }, "hardware clock", Note, "switched off"},
		{"may not be read", withRTC(fakeRTC{}, rtc.ErrDenied), nil, "hardware clock", Problem, "may not read /dev/rtc0"},
		{"busy", withRTC(fakeRTC{}, rtc.ErrBusy), nil, "hardware clock", Note, "another program"},
		{"busy by our own service", func(h *Host) { withRTC(fakeRTC{}, rtc.ErrBusy)(h); h.Running = true }, nil, "hardware clock", Good, "own service"},
		{"busy for a moment", func(h *Host) {
			withRTC(fakeRTC{fields: good}, nil)(h)
			free, tries := h.OpenRTC, 0
			h.OpenRTC = func(path string) (rtc.Device, error) {
				if tries++; tries < rtcTries {
					return nil, rtc.ErrBusy
				}
				return free(path)
			}
			h.Wait = func() {}
		}, nil, "hardware clock", Good, "battery is good"},
		{"left to another program", func(h *Host) { h.Aside = true }, nil, "other clock programs", Problem, "left the clock to another program"},
		{"absent", withRTC(fakeRTC{}, rtc.ErrAbsent), nil, "hardware clock", Problem, "not there"},
		{"another error", withRTC(fakeRTC{}, errors.New("input/output error")), nil, "hardware clock", Problem, "input/output error"},
		{"lost its time", withRTC(fakeRTC{err: fmt.Errorf("x: %w", rtc.ErrInvalid)}, nil), nil, "hardware clock", Problem, "battery is empty or missing"},
		{"battery low", withRTC(fakeRTC{fields: good, flags: rtc.BackupLow | rtc.BackupSwitch}, nil), nil, "hardware clock", Problem, "battery low."},
		{"shows 1970", withRTC(fakeRTC{fields: rtc.FieldsOf(5)}, nil), nil, "hardware clock", Problem, "shows 1970-01-01"},
		{"cannot tell", withRTC(fakeRTC{fields: good, mute: true}, nil), nil, "hardware clock", Note, "cannot tell"},
		{"no right", write("proc/self/status", "CapEff:\t0000000000000400\n"), nil, "right to set the clock", Problem, "CAP_SYS_TIME"},
		{"watches only", write("proc/self/status", "CapEff:\t0\n"), func(c *config.Config) { c.Clock.Steer = false }, "right to set the clock", Note, "only watches"},
		{"another unit", write("sys/fs/cgroup/system.slice/some-time.service/cgroup.procs", "23\n"), nil, "other clock programs", Problem, "some-time.service runs"},
		{"another unit, watched", write("sys/fs/cgroup/system.slice/some-time.service/cgroup.procs", "23\n"), func(c *config.Config) { c.Clock.Steer = false }, "other clock programs", Note, "some-time.service runs"},
		{"another package", write("var/lib/dpkg/status", "Package: some\nStatus: install ok installed\nProvides: x, time-daemon (= 1)\n"), nil, "other clock programs", Note, "package some"},
		{"rate changes", kernels(steer.Kernel{Bits: steer.BitUnsync}, steer.Kernel{FreqPPM: 1, Bits: steer.BitUnsync}), nil, "other clock programs", Problem, "changing the clock's rate"},
		{"loop", kernels(steer.Kernel{}, steer.Kernel{Bits: steer.BitPLL | steer.BitUnsync}), nil, "other clock programs", Problem, "own loop"},
		{"turn", kernels(steer.Kernel{}, steer.Kernel{SlewLeft: 5, Bits: steer.BitUnsync}), nil, "other clock programs", Problem, "turning the clock"},
		{"vouched for", kernels(steer.Kernel{}, steer.Kernel{}), nil, "other clock programs", Problem, "told the kernel that the clock is right"},
		{"vouched for by ourselves", func(h *Host) { kernels(steer.Kernel{}, steer.Kernel{})(h); h.Settled = true }, nil, "other clock programs", Good, "No other program"},
		{"kernel does not tell", func(h *Host) {
			h.Kernel = func() (a, b steer.Kernel, err error) { return a, b, errors.New("not permitted") }
		}, nil, "other clock programs", Note, "not permitted"},
		{"status on a disk", func(h *Host) { h.RunDir = "/var/run-dir" }, nil, "status directory", Problem, "not in memory"},
		{"no place for the status", func(h *Host) { h.RunErr = errors.New("no directory in RAM") }, nil, "status directory", Problem, "no directory in RAM"},
		{"no place for what is learned", func(h *Host) { h.StateErr = errors.New("HOME is not set") }, nil, "disk", Problem, "HOME is not set"},
		{"read-only", func(h *Host) {
			disk := h.Disk
			h.Disk = func(p string) (Disk, error) {
				d, err := disk(p)
				d.ReadOnly = strings.Contains(p, "/var")
				return d, err
			}
		}, nil, "disk", Problem, "can only be read"},
		{"full", func(h *Host) {
			disk := h.Disk
			h.Disk = func(p string) (Disk, error) {
				d, err := disk(p)
				if !d.RAM {
					d.Free = 100 << 10
				}
				return d, err
			}
		}, nil, "disk", Problem, "100 kB left"},
		{"run directory full", func(h *Host) {
			disk := h.Disk
			h.Disk = func(p string) (Disk, error) {
				d, err := disk(p)
				if d.RAM {
					d.Free = 8 << 10
				}
				return d, err
			}
		}, nil, "status directory", Problem, "is full"},
		{"a command that is not there", nil, func(c *config.Config) { c.Events.VerdictLost = []string{"/nowhere/ring"} }, "commands", Problem, "verdict-lost cannot be run"},
		{"kept in memory", func(h *Host) { h.State = "/run/state" }, nil, "disk", Note, "lost at power-off"},
		{"list ended", func(h *Host) { h.Now = today.Add(200 * 24 * time.Hour) }, nil, "leap seconds", Note, "ended on 2026-06-28"},
		{"no list", remove(leaps.Path), nil, "leap seconds", Note, "no list"},
		{"list damaged", write(leaps.Path, "rubbish\n"), nil, "leap seconds", Problem, "damaged"},
	} {
		t.Run(row.name, func(t *testing.T) {
			h, set := station(t)
			if row.change != nil {
				row.change(&h)
			}
			if row.set != nil {
				row.set(&set)
			}
			all := Run(h, set, nil)
			for _, f := range all {
				if f.Check == row.check {
					if f.State != row.state || !strings.Contains(f.Text, row.want) {
						t.Errorf("%+v, want %s %q", f, row.state, row.want)
					}
					if f.State == Problem && f.Remedy == "" {
						t.Errorf("a problem without a remedy: %+v", f)
					}
				} else if f.State == Problem {
					t.Errorf("a problem elsewhere: %+v", f)
				}
			}
			if Passed(all) != (row.state != Problem) {
				t.Errorf("passed %v", Passed(all))
			}
		})
	}
}

func TestNothingInTheWay(t *testing.T) {
	h, set := station(t)
	for _, f := range Run(h, set, nil) {
		if f.State != Good && f.Check != "learned" || !strings.HasSuffix(f.Text, ".") {
			t.Errorf("%+v", f)
		}
	}
	all := Run(h, set, errors.New("config: x.toml:2: unknown key"))
	if Passed(all) || all[0].Check != "settings" || !strings.Contains(all[0].Text, "x.toml:2") {
		t.Errorf("%+v", all[0])
	}
}

// Every check says something, once at least, whatever the machine.
func TestAnEmptyMachine(t *testing.T) {
	h, set := station(t)
	h.Root = t.TempDir()
	seen := map[string]bool{}
	for _, f := range Run(h, set, nil) {
		seen[f.Check] = true
	}
	if len(seen) != 10 {
		t.Errorf("%v", seen)
	}
}

// Each thing that was learned has its line, with its date where there is one.
func TestLearnedIsSaid(t *testing.T) {
	h, set := station(t)
	dir := filepath.Join(h.Root, h.State)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	said := func() string {
		var lines []string
		for _, f := range Run(h, set, nil) {
			if f.Check == "learned" {
				lines = append(lines, string(f.State)+" "+f.Text)
			}
		}
		return strings.Join(lines, "\n")
	}
	if got := said(); got != "note Nothing has been learned yet." {
		t.Errorf("nothing learned: %s", got)
	}
	s := keep.State{Learned: clockcheck.Learned{RatePPM: 9, RateSigmaPPM: 0.1, Latencies: []clockcheck.LearnedLatency{{Key: "/dev/x 9600", LatencyS: 0.143, SigmaS: 0.01}},
		RTC: &clockcheck.LearnedRTC{At: today.Add(-time.Hour)}}}
	s.Receiver.Name = "/dev/x"
	if err := keep.Save(dir, s); err != nil {
		t.Fatal(err)
	}
	want := "good The oscillator's rate: +9.00 ppm ± 0.26 ppm (99 %).\ngood The receiver is heard 0.143 s late, ± 0.026 s (99 %): /dev/x 9600.\n" +
		"good The hardware clock was compared on 2026-02-28 23:00 UTC.\ngood The receiver is known by /dev/x."
	if got := said(); got != want {
		t.Errorf("learned:\n%s\nwant\n%s", got, want)
	}
	h.Now = today.Add(120 * 24 * time.Hour)
	if got := said(); !strings.Contains(got, "note The hardware clock was last compared on 2026-02-28.") {
		t.Errorf("long ago: %s", got)
	}
	if err := os.WriteFile(filepath.Join(dir, "learned.json"), []byte("rubbish"), 0o644); err != nil {
		t.Fatal(err)
	}
	if got := said(); !strings.HasPrefix(got, "problem What was learned cannot be read") {
		t.Errorf("damaged: %s", got)
	}
}
