package config

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/BurntSushi/toml"
)

// mode knows three modes.
func mode(name string) (string, error) {
	for _, m := range []string{"FT8", "FT4", "JS8-15", "WSPR"} {
		if strings.EqualFold(m, name) {
			return m, nil
		}
	}
	return "", fmt.Errorf("no mode %q", name)
}

func TestParseBad(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"syntax", "[receiver]\nbaud = \n", `f.toml:2: expected value`},
		{"key twice", "[receiver]\nbaud = 0\nbaud = 0\n", `f.toml:3: `},
		{"table twice", "[rtc]\n[rtc]\n", `f.toml:2: `},
		{"not UTF-8", "[rtc]\ndevice = \"\xff\"\n", `f.toml:2: `},
		{"unknown key", "\n[receiver]\nbuad = 4800\n", `f.toml:3: unknown key "receiver.buad"; did you mean "receiver.baud"?`},
		{"unknown key like none", "[rtc]\nzzzzzzzz = 1\n", `f.toml:2: unknown key "rtc.zzzzzzzz"`},
		{"unknown table", "\n\n[reciever]\nbaud = 4800\n", `f.toml:3: unknown key "reciever"; did you mean "receiver"?`},
		{"key without its table", "baud = 4800\n", `f.toml:1: unknown key "baud"; did you mean "receiver.baud"?`},
		{"key in the wrong table", "[clock]\nin_use = 'FT8'\n", `f.toml:2: unknown key "clock.in_use"; did you mean "modes.in_use"?`},
		{"dotted unknown", "receiver.pbs = 'auto'\n", `f.toml:1: unknown key "receiver.pbs"; did you mean "receiver.pps"?`},
		{"capitals", "[receiver]\nBaud = 4800\n", `f.toml:2: unknown key "receiver.Baud"; did you mean "receiver.baud"?`},
		{"table is a value", "\nreceiver = 3\n", `f.toml:2: receiver is a group of keys: write [receiver] on a line of its own`},
		{"list of tables", "[[rtc]]\ndevice='none'\n", `f.toml:1: rtc is a group of keys`},
		{"device is a number", "[receiver]\ndevice = 1\n", `f.toml:2: receiver.device must be text in quotes ("…"), but is the number 1`},
		{"device relative", "[receiver]\ndevice = 'ttyUSB0'\n", `f.toml:2: receiver.device must be one of "auto", but is "ttyUSB0"; or a path that begins with /`},
		{"device empty", "[receiver]\ndevice = ''\n", `f.toml:2: receiver.device must be`},
		{"device of another scheme", "[receiver]\ndevice = 'http://a:80'\n", `f.toml:2: receiver.device must be "auto", a path, tcp://host:port or udp://:port`},
		{"tcp without host", "[receiver]\ndevice = 'tcp://:10110'\n", `f.toml:2: receiver.device must name the host`},
		{"tcp without port", "[receiver]\ndevice = 'tcp://camp'\n", `f.toml:2: receiver.device must have a port`},
		{"udp port 0", "[receiver]\ndevice = 'udp://:0'\n", `f.toml:2: receiver.device must have a port`},
		{"baud text", "[receiver]\nbaud = '9600'\n", `f.toml:2: receiver.baud must be a whole number, but is the text "9600"`},
		{"baud fraction", "[receiver]\nbaud = 9600.5\n", `f.toml:2: receiver.baud must be a whole number, but is the number 9600.5`},
		{"baud unusual", "[receiver]\nbaud = 960\n", `f.toml:2: receiver.baud must be 0 (find it) or a usual speed`},
		{"baud negative", "[receiver]\nbaud = -4800\n", `f.toml:2: receiver.baud must be 0`},
		{"pps", "[receiver]\npps = 'yes'\n", `f.toml:2: receiver.pps must be one of "auto", "none", but is "yes"`},
		{"pps_edge", "[receiver]\npps_edge = 'rising'\n", `f.toml:2: receiver.pps_edge must be one of "assert", "clear", "", but is "rising"`},
		{"latency negative", "[receiver]\nlatency_s = -0.1\n", `f.toml:2: receiver.latency_s must be from 0 to 2 s (0 = learn it), but is -0.1`},
		{"latency in ms", "[receiver]\nlatency_s = 150\n", `f.toml:2: receiver.latency_s must be from 0 to 2 s`},
		{"latency nan", "[receiver]\nlatency_s = nan\n", `f.toml:2: receiver.latency_s must be a number, but is the number NaN`},
		{"latency inf", "[receiver]\nlatency_s = inf\n", `f.toml:2: receiver.latency_s must be from 0 to 2 s`},
		{"share without port", "[receiver]\nshare_tcp = '127.0.0.1'\n", `f.toml:2: receiver.share_tcp must be an address and port`},
		{"share by UDP to a name", "[receiver]\nshare_udp = 'camp:10110'\n", `f.toml:2: receiver.share_udp must be an IP address and port`},
		{"share by UDP to nowhere", "[receiver]\nshare_udp = ':10110'\n", `f.toml:2: receiver.share_udp must be an IP address and port`},
		{"share by UDP to all zeros", "[receiver]\nshare_udp = '0.0.0.0:10110'\n", `f.toml:2: receiver.share_udp must be an IP address and port`},
		{"pty relative", "[receiver]\nshare_pty = 'receiver'\n", `f.toml:2: receiver.share_pty must be`},
		{"rtc", "[rtc]\ndevice = 'rtc0'\n", `f.toml:2: rtc.device must be`},
		{"servers text", "[network]\nservers = 'a'\n", `f.toml:2: network.servers must be a list of texts`},
		{"server number", "[network]\nservers = ['a', 3]\n", `f.toml:2: network.servers item 2 must be text`},
		{"server empty", "[network]\nservers = ['']\n", `f.toml:2: network.servers item 1 must be a server's name or address`},
		{"server URL", "[network]\nservers = ['ntp://a']\n", `f.toml:2: network.servers item 1 must be a server's name`},
		{"server twice", "[network]\nservers = ['a','a']\n", `f.toml:2: network.servers names "a" twice`},
		{"steer text", "[clock]\nsteer = 'yes'\n", `f.toml:2: clock.steer must be true or false, but is the text "yes"`},
		{"vouch text", "[clock]\nvouch = 'no'\n", `f.toml:2: clock.vouch must be true or false, but is the text "no"`},
		{"thermometer relative", "[clock]\nthermometer = 'hwmon0'\n", `f.toml:2: clock.thermometer must be one of "auto", "none", but is "hwmon0"; or a path that begins with /`},
		{"step 0", "[clock]\nstep_over_s = 0\n", `f.toml:2: clock.step_over_s must be from 0.01 to 60 s, but is 0`},
		{"mode in use", "[modes]\nin_use = 'FT9'\n", `f.toml:2: modes.in_use names a mode that is not known: no mode "FT9"`},
		{"mode shown", "[modes]\nshow = ['FT8',\n 'FT9']\n", `f.toml:2: modes.show item 2 names a mode that is not known: no mode "FT9"`},
		{"mode shown twice", "[modes]\nshow = ['FT8', 'ft8']\n", `f.toml:2: modes.show names "FT8" twice`},
		{"tolerance of none", "[modes]\ntolerance_s = { FT9 = 1 }\n", `f.toml:2: modes.tolerance_s names a mode that is not known`},
		{"tolerance 0", "[modes]\ntolerance_s = { FT8 = 0 }\n", `f.toml:2: modes.tolerance_s of FT8 must be over 0 and at most 10 s, but is 0`},
		{"tolerance negative", "[modes.tolerance_s]\nFT8 = -1\n", `f.toml:1: modes.tolerance_s of FT8 must be over 0`},
		{"tolerance text", "[modes]\ntolerance_s = { FT8 = '1' }\n", `f.toml:2: modes.tolerance_s of FT8 must be a number`},
		{"tolerance plain", "[modes]\ntolerance_s = 1.0\n", `f.toml:2: modes.tolerance_s must be a group`},
		{"report's place", "[report]\nplace = 'FG6'\n", `f.toml:2: report.place must be a place`},
		{"report's name", "[report]\nname = \"two\\nlines\"\n", `f.toml:2: report.name must be a name of at most 40 characters`},
		{"report's long name", "[report]\nname = '12345678901234567890123456789012345678901'\n", `f.toml:2: report.name must be a name`},
		{"command as a text", "[events]\nverdict_lost = '/bin/true'\n", `f.toml:2: events.verdict_lost must be a list of the program's path`},
		{"command by name", "[events]\ntrust_changed = ['beep']\n", `f.toml:2: events.trust_changed must begin with the program's path`},
		{"command with a number", "[events]\ntrust_changed = ['/bin/beep', 3]\n", `f.toml:2: events.trust_changed item 2 must be text`},
		{"time limit 0", "[events]\nlimit_s = 0\n", `f.toml:2: events.limit_s must be from 1 to 3600 s`},
		{"broker without scheme", "[mqtt]\nbroker = '127.0.0.1:1883'\n", `f.toml:2: mqtt.broker must be mqtt://host:port`},
		{"broker without port", "[mqtt]\nbroker = 'mqtt://camp'\n", `f.toml:2: mqtt.broker must be mqtt://host:port`},
		{"broker with a password", "[mqtt]\nbroker = 'mqtt://a:b@camp:1883'\n", `f.toml:2: mqtt.broker must be mqtt://host:port`},
		{"station of two levels", "[mqtt]\nstation = 'camp/1'\n", `f.toml:2: mqtt.station must be a name`},
		{"station wild", "[mqtt]\nstation = '+'\n", `f.toml:2: mqtt.station must be a name`},
		{"password file relative", "[mqtt]\npassword_file = 'secret'\n", `f.toml:2: mqtt.password_file must be`},
		{"http", "[publish]\nhttp = '8173'\n", `f.toml:2: publish.http must be an address and port`},
		{"http port", "[publish]\nhttp = ':81730'\n", `f.toml:2: publish.http must be`},
		{"time service", "[publish]\ntime_service = 'ntp'\n", `f.toml:2: publish.time_service must be`},
		{"locator odd", "[publish]\nlocator_length = 7\n", `f.toml:2: publish.locator_length must be 2, 4, 6, 8 or 10 characters, but is 7`},
		{"locator 12", "[publish]\nlocator_length = 12\n", `f.toml:2: publish.locator_length must be`},
		{"locator huge", "[publish]\nlocator_length = 4294967306\n", `f.toml:2: publish.locator_length must be`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c, err := Parse("f.toml", tt.text, mode)
			if err == nil {
				t.Fatalf("accepted: %+v", c)
			}
			if !strings.HasPrefix(err.Error(), "config: "+tt.want) {
				t.Errorf("got  %v\nwant config: %s…", err, tt.want)
			}
			if !reflect.DeepEqual(c, Default()) {
				t.Errorf("a broken file left its mark: %+v", c)
			}
		})
	}
}

// Every fault is told, in the order of the file.
func TestParseAllFaults(t *testing.T) {
	_, err := Parse("f.toml", "[publish]\nlocator_length = 3\n[receiver]\nbuad = 1\nbaud = 2\n", mode)
	lines := strings.Split(fmt.Sprint(err), "\n")
	if len(lines) != 3 {
		t.Fatalf("got %q", lines)
	}
	for i, want := range []string{"config: f.toml:2: ", "config: f.toml:4: ", "config: f.toml:5: "} {
		if !strings.HasPrefix(lines[i], want) {
			t.Errorf("line %d: got %q, want %q…", i, lines[i], want)
		}
	}
}

func TestParseGood(t *testing.T) {
	c, err := Parse("f.toml", `
publish.http = ""
[receiver]
device = "tcp://192.168.1.5:10110"
baud = 38400
pps = "/dev/pps1"
pps_edge = "clear"
latency_s = 1
share_tcp = "[::1]:10110"
share_udp = "192.168.1.255:10110"
share_pty = "/run/noonmark/receiver"
[report]
place = "19K 657838 7773417"
name = "BASE"
[rtc]
device = "none"
[network]
servers = ["192.168.1.1", "fd00::1", "camp.local:1123", "[fd00::2]:123"]
[clock]
steer = true
step_over_s = 1
vouch = false
thermometer = "/sys/class/hwmon/hwmon2/temp1_input"
judge = "bank"
[modes]
in_use = "ft8"
show = []
[modes.tolerance_s]
js8-15 = 2
FT8 = 0.5
[events]
verdict_lost = ["/usr/local/bin/beep", "-n", "-n"]
limit_s = 5
[mqtt]
broker = "mqtts://[fd00::1]:8883/"
station = "camp 1"
position = true
`, mode)
	if err != nil {
		t.Fatal(err)
	}
	want := Default()
	want.Publish.HTTP = ""
	want.Receiver.Device = "tcp://192.168.1.5:10110"
	want.Receiver.Baud = 38400
	want.Receiver.PPS = "/dev/pps1"
	want.Receiver.PPSEdge = "clear"
	want.Receiver.LatencyS = 1
	want.Receiver.ShareTCP = "[::1]:10110"
	want.Receiver.ShareUDP = "192.168.1.255:10110"
	want.Receiver.SharePTY = "/run/noonmark/receiver"
	want.Report.Place, want.Report.Name = "19K 657838 7773417", "BASE"
	want.RTC.Device = "none"
	want.Events.VerdictLost = []string{"/usr/local/bin/beep", "-n", "-n"}
	want.Events.LimitS = 5
	want.MQTT.Broker, want.MQTT.Station, want.MQTT.Position = "mqtts://[fd00::1]:8883", "camp 1", true
	want.Network.Servers = []string{"192.168.1.1", "fd00::1", "camp.local:1123", "[fd00::2]:123"}
	want.Clock.Steer = true
	want.Clock.StepOverS = 1
	want.Clock.Vouch = false
	want.Withdrawn = []string{`config: f.toml:24: clock.judge sets nothing any more, for one judge is left, the bank of explanations: take the line out`}
	want.Clock.Thermometer = "/sys/class/hwmon/hwmon2/temp1_input"
	want.Modes.InUse = "FT8"
	want.Modes.Show = []string{}
	want.Modes.ToleranceS = map[string]float64{"JS8-15": 2, "FT8": 0.5}
	if !reflect.DeepEqual(c, want) {
		t.Errorf("got  %+v\nwant %+v", c, want)
	}
	for _, device := range []string{"/dev/serial/by-id/usb-x", "udp://:10110", "udp://127.0.0.1:10110", "tcp://[::1]:2947/", "auto"} {
		if err := c.Set("receiver.device", device, mode); err != nil {
			t.Error(err)
		}
	}
}

// The example file names every key there is, and says the defaults.
func TestExample(t *testing.T) {
	for _, text := range []string{"", Example()} {
		c, err := Parse("example.toml", text, mode)
		if err != nil {
			t.Fatal(err)
		}
		want := Default()
		// Empty and absent are one.
		if len(c.Network.Servers) == 0 {
			c.Network.Servers = nil
		}
		if len(c.Modes.ToleranceS) == 0 {
			c.Modes.ToleranceS = nil
		}
		e := &c.Events
		for _, l := range []*[]string{&e.VerdictLost, &e.VerdictRegained, &e.LocatorChanged, &e.TrustChanged, &e.BatteryLow} {
			if len(*l) == 0 {
				*l = nil
			}
		}
		if !reflect.DeepEqual(c, want) {
			t.Errorf("got  %+v\nwant %+v", c, want)
		}
	}
	var raw map[string]any
	md, err := toml.Decode(Example(), &raw)
	if err != nil {
		t.Fatal(err)
	}
	for key := range new(Config).keys(mode) {
		if !md.IsDefined(strings.Split(key, ".")...) {
			t.Errorf("the example does not show %s", key)
		}
	}
	for i, line := range strings.Split(Example(), "\n") {
		if utf8.RuneCountInString(line) > 80 {
			t.Errorf("line %d is over 80 columns", i+1)
		}
	}
}

func TestLoad(t *testing.T) {
	path := filepath.Join(t.TempDir(), "noonmark.toml")
	c, err := Load(path, mode)
	if !errors.Is(err, os.ErrNotExist) || !reflect.DeepEqual(c, Default()) {
		t.Errorf("absent: %v, %+v", err, c)
	}
	if err := os.WriteFile(path, []byte("[receiver]\nbuad=1\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(path, mode); err == nil || !strings.Contains(err.Error(), path+":2: ") {
		t.Errorf("got %v, want the file and line 2", err)
	}
}

func TestSet(t *testing.T) {
	c := Default()
	for key, value := range map[string]any{"receiver.buad": int64(1), "receiver.baud": int64(1), "clock.steer": "x"} {
		if err := c.Set(key, value, mode); err == nil || !strings.Contains(err.Error(), key) {
			t.Errorf("%s: got %v", key, err)
		}
	}
	if !reflect.DeepEqual(c, Default()) {
		t.Error("a refused value left its mark")
	}
	if err := c.Set("receiver.baud", int64(4800), mode); err != nil || c.Receiver.Baud != 4800 {
		t.Errorf("got %v, %d", err, c.Receiver.Baud)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"", Example(), "[receiver]\nbuad=1", "receiver=1", "[[rtc]]", "a.b.c=1", "modes.tolerance_s={FT8=1}",
		"[modes.tolerance_s]\nFT8=[{a=1}]", "\"\"=1", "[receiver]\n\"\"=1979-05-27"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := Parse("f", text, mode)
		if err != nil {
			if !reflect.DeepEqual(c, Default()) {
				t.Error("a broken file left its mark")
			}
			return
		}
		if c.Receiver.LatencyS < 0 || c.Receiver.LatencyS > 2 || c.Clock.StepOverS < 0.01 || c.Publish.LocatorLength%2 != 0 {
			t.Errorf("out of range: %+v", c)
		}
		for m, tol := range c.Modes.ToleranceS {
			if p, err := mode(m); err != nil || p != m || !(tol > 0 && tol <= maxToleranceS) {
				t.Errorf("tolerance of %q: %g", m, tol)
			}
		}
	})
}

// TestDropIns: files of the folder beside the settings override them and one another in
// the order of their names; a fault names its file; a folder alone is enough.
func TestDropIns(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "odd [1]*")
	path := filepath.Join(dir, "noonmark.toml")
	put := func(name, text string) {
		t.Helper()
		name = filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := Load(path, mode); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("nothing there: %v", err)
	}
	put("noonmark.toml.d/50-port.toml", "[receiver]\nbaud = 9600\nshare_tcp = \"127.0.0.1:10110\"\n")
	put("noonmark.toml.d/notes.txt", "not read")
	if c, err := Load(path, mode); err != nil || c.Receiver.Baud != 9600 {
		t.Errorf("a folder alone: %d, %v", c.Receiver.Baud, err)
	}
	put("noonmark.toml", "[receiver]\nbaud = 4800\n[clock]\nsteer = true\n")
	put("noonmark.toml.d/60-later.toml", "[receiver]\nshare_tcp = \"\"\n")
	if c, err := Load(path, mode); err != nil || c.Receiver.Baud != 9600 || !c.Clock.Steer || c.Receiver.ShareTCP != "" {
		t.Errorf("%+v, %v", c.Receiver, err)
	}
	put("noonmark.toml.d/70-bad.toml", "\n[receiver]\nbaud = 5\n")
	put("noonmark.toml.d/80-bad.toml", "[nonsense]\nx = 1\n")
	if c, err := Load(path, mode); err == nil || !strings.Contains(err.Error(), "70-bad.toml:3") || !strings.Contains(err.Error(), "80-bad.toml:1") || c.Clock.Steer {
		t.Errorf("%v", err)
	}
}
