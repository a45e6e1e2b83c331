// Package cli is the command line: its grammar, its help, its completion.
//
// Words go in, a filled CLI and the name of the command come out; carrying the
// command out is for main. Nothing here touches a device, a clock or a file.
package cli

import "time"

// CLI is the grammar; Parse fills the part of the command that was given. An
// empty string or a nil pointer means that the flag was not given.
type CLI struct {
	Run        Run        `cmd:"" help:"Be the service: read the receiver and the clocks, judge, publish."`
	Demo       Demo       `cmd:"" help:"Show all of it on a simulated station. Needs no hardware, changes nothing."`
	Replay     Replay     `cmd:"" help:"Judge recorded sentences, or a record of the service, as if live."`
	Ready      Ready      `cmd:"" help:"May I key up? One line for each mode."`
	Grid       Grid       `cmd:"" help:"The present locator, or a place in every form."`
	Path       Path       `cmd:"" help:"Distance and beam headings between two places."`
	Report     Report     `cmd:"" help:"Where you are and that you are well, as text for a message."`
	Why        Why        `cmd:"" help:"The judgement explained: who says what, who is trusted, and why."`
	Screen     Screen     `cmd:"" help:"The verdict live and large, in a terminal."`
	Mark       Mark       `cmd:"" help:"Set or check the clock by ear on a radio time signal."`
	Hear       Hear       `cmd:"" help:"Hear the time from the radio: other stations' signals, time signals."`
	Until      Until      `cmd:"" help:"Wait until the clock is right enough, or until a limit."`
	Prepare    Prepare    `cmd:"" help:"The evening at home: what is learned, what is missing, and how long it takes."`
	Preflight  Preflight  `cmd:"" help:"Before you leave: is everything there that the station needs?"`
	Resume     Resume     `cmd:"" help:"Let noonmark set the clock again after it left it to another program."`
	Pin        Pin        `cmd:"" help:"The number the page asks for before anything is set by hand."`
	Follow     Follow     `cmd:"" help:"Act on the status: run commands on events, publish to a broker."`
	Ports      Ports      `cmd:"" help:"Serial ports: what they are, which would be opened, and why."`
	Version    Version    `cmd:"" help:"Which version of noonmark this is; --version asks the same."`
	Completion Completion `cmd:"" help:"Print a script that lets the shell complete noonmark's words."`
}

// Output is the flag of every command that prints.
type Output struct {
	JSON bool `name:"json" help:"Print JSON, for programs."`
}

// Where is the flag of the commands that read what the service publishes.
type Where struct {
	Demo   bool   `name:"demo" help:"Read what noonmark demo shows just now, not the service."`
	RunDir string `name:"run-dir" placeholder:"DIR" help:"Where the service publishes its status. Default: /run/noonmark, then your own directory."`
}

// Run is the service.
type Run struct {
	Config    string   `placeholder:"FILE" help:"Configuration file. Default: /etc/noonmark/noonmark.toml, if it is there."`
	Device    string   `placeholder:"PORT" help:"The receiver: auto, a path such as /dev/serial/by-id/NAME, tcp://HOST:PORT or udp://:PORT."`
	Baud      *int     `placeholder:"RATE" help:"Speed of the receiver's port in bits a second; 0 finds it."`
	RTC       string   `name:"rtc" placeholder:"DEVICE" help:"Hardware clock: auto, a path such as /dev/rtc0, or none."`
	Server    []string `placeholder:"NAME" help:"Network time server, asked only while there is a network. Give the flag once for each."`
	Mode      string   `placeholder:"MODE" help:"The mode in use, e.g. FT8."`
	Steer     *bool    `negatable:"" help:"Set and steer this computer's clock, and set the hardware clock. Needs the right to do so. Default: only watch, unless the settings say otherwise."`
	RunDir    string   `name:"run-dir" placeholder:"DIR" help:"Where to publish the status; must be in memory, not on a disk."`
	StateDir  string   `name:"state-dir" placeholder:"DIR" help:"Where to keep what was learned."`
	AllowDisk bool     `name:"allow-disk" help:"Publish even in a directory that is not in memory. It wears an SD card."`
	Latency   float64  `name:"latency-s" placeholder:"SECONDS" help:"How late the receiver's sentences arrive, if you measured it, 0 to 2; 0 learns it."`
	Verbose   bool     `short:"v" help:"Log each epoch too."`
	JSON      bool     `name:"json" help:"Log in JSON, for programs."`
}

// Demo is the simulated station.
type Demo struct {
	For      time.Duration `placeholder:"TIME" help:"How long, in the station's time: 90s, 10m, 8h. Default: the whole story."`
	Speed    float64       `default:"1" placeholder:"N" help:"How many times faster than real time; 0 for as fast as it goes."`
	Scenario string        `placeholder:"NAME" help:"Which story; a name that does not exist lists those that do."`
	Seed     uint64        `default:"1" placeholder:"N" help:"Another number gives another run of the same story."`
	HTTP     string        `name:"http" placeholder:"ADDRESS" help:"Where to serve the page, e.g. :8173 for the whole network; none for no page. Default: 127.0.0.1:8173, or another port if that is taken."`
	RunDir   string        `name:"run-dir" placeholder:"DIR" help:"Where to publish the simulated status. Default: a directory of its own, which is printed."`
	Output
}

// Replay judges recordings.
type Replay struct {
	Files []string `arg:"" name:"file" help:"Recorded NMEA sentences, as they came; or records that the service kept (*.record.gz), in their order."`
	Mode  []string `placeholder:"MODE" help:"Judge for this mode. Give the flag once for each. Default: those that the service shows."`
	Output
}

// Ready is the question before transmitting.
type Ready struct {
	Modes []string `arg:"" optional:"" name:"mode" help:"A mode, e.g. FT8. Default: the modes that the service shows."`
	Where
	Output
}

// Grid tells or converts a place.
type Grid struct {
	Words  []string `arg:"" optional:"" name:"place" help:"Locator, latitude and longitude in degrees, UTM, MGRS or geo: address. Default: where this station is."`
	Length int      `placeholder:"N" help:"Characters of the locator: 2, 4, 6, 8 or 10. Default: as many as the place supports; 6 for a track."`
	Track  string   `placeholder:"FILE" help:"List the locators of a recorded track (NMEA or GPX; - for standard input), with times of entry and exit."`
	CSV    bool     `name:"csv" help:"With --track: print CSV, for spreadsheets."`
	GPX    bool     `name:"gpx" help:"With --track: print GPX, for maps: a track for each visit."`
	Around
	Neighbours bool `help:"Show the eight locators around too."`
	Where
	Output
}

// Place is the place asked for, "" for the present one.
func (g *Grid) Place() string { return joinWords(g.Words) }

// Around is what the commands about places share.
type Around struct {
	Miles bool   `help:"Give distances in miles and nautical miles too."`
	At    string `placeholder:"TIME" help:"Sun and compass at this time (UTC, such as 2031-02-03T04:05Z). Default: now, by this computer's clock."`
}

// Path measures the way between two places. Which of the words are which place is
// for main to say, which knows places.
type Path struct {
	Words []string `arg:"" optional:"" name:"place" help:"Where to, then where from. Default for the second: where this station is."`
	List  string   `placeholder:"FILE" help:"Where to: each place of this list, one a line; - for standard input. The place named, if any, is where from."`
	CSV   bool     `name:"csv" help:"With --list: print CSV, for spreadsheets."`
	Around
	Where
	Output
}

// Report words a message.
type Report struct {
	Fit      int    `placeholder:"N" help:"One line of at most N characters, in capitals, for slow modes."`
	To       string `placeholder:"[NAME=]PLACE" help:"Add distance and bearing to this place. Default: that of the settings, if any."`
	Distress bool   `help:"Call for help: coordinates first, and old news rather than none."`
	Aloud    bool   `help:"Add how to read the place aloud: the international spelling alphabet, digits one by one."`
	Template string `placeholder:"TEXT|@FILE" help:"Make the text by this template (Go text/template); help lists its words."`
	Config   string `placeholder:"FILE" help:"Configuration file. Default: /etc/noonmark/noonmark.toml, if it is there."`
	Where
	Output
}

// Why explains.
type Why struct {
	All bool `help:"All of it: each source of time, the error budget, the receiver, the events."`
	Where
	Output
}

// Screen is the live view.
type Screen struct{ Where }

// Follow acts on the status.
type Follow struct {
	Part    string `enum:"all,commands,broker" default:"all" help:"Do only a part of it: commands or broker. Default: all, the broker in a process of its own." placeholder:"PART"`
	Config  string `placeholder:"FILE" help:"Configuration file. Default: /etc/noonmark/noonmark.toml, if it is there."`
	Verbose bool   `short:"v" help:"Log more."`
	JSON    bool   `name:"json" help:"Log in JSON, for programs."`
	Where
}

// Mark takes an operator's taps.
type Mark struct {
	Station  string `placeholder:"NAME" help:"The time signal that you hear, e.g. WWV. --list shows those that there are."`
	List     bool   `help:"List the time signals, and do nothing else."`
	Beat     bool   `help:"You tap with the beat, expecting each tone. Default: it is asked."`
	React    bool   `help:"You tap when you hear each tone."`
	Minutes  bool   `help:"Tap on the tone of each full minute instead of each second: slower, and no miscounted second."`
	Taps     int    `default:"8" placeholder:"N" help:"How many taps, 3 to 60."`
	LongPath bool   `name:"long-path" help:"The signal comes the long way round the earth."`
	Place    string `placeholder:"PLACE" help:"Where you are: a locator, or latitude,longitude. Default: where the service says."`
	Check    bool   `help:"Only compare; tell the service nothing."`
	Withdraw bool   `help:"Take the last mark back, by ear or borrowed, with all that the service learned from it."`
	Where
	Output
}

// Hear listens to the radio.
type Hear struct {
	Words    []string `arg:"" optional:"" name:"file" help:"Recordings to examine: WAV, 16 bit, 8 to 48 kHz. With --offsets: the offsets."`
	Mode     string   `default:"FT8" placeholder:"MODE" help:"The mode whose signals are looked for: FT8, FT4, JS8-30, JS8-15, JS8-10 or JS8-6."`
	Sound    string   `default:"default" placeholder:"DEVICE" help:"The sound device that carries the radio, as arecord -L names it."`
	Raw      bool     `help:"Listen to raw samples on standard input: 16 bit, little-endian, as they are sampled."`
	Rate     int      `default:"12000" placeholder:"HZ" help:"Sampling rate of the device or of raw samples, 8000 to 48000."`
	Channel  int      `default:"1" placeholder:"N" help:"Which channel of two carries the radio: 1 is left, 2 is right."`
	Channels int      `default:"1" placeholder:"N" help:"How many channels the device or raw samples have: 1 or 2."`
	Station  string   `placeholder:"NAME" help:"Listen for this time signal only: WWV, WWVH, CHU, BPM or RWM. Default: for any but RWM, whose keyed carrier has to be named, and for the band."`
	Place    string   `placeholder:"PLACE" help:"Where you are, for the way of a time signal: a locator, or latitude,longitude. Default: where the service says."`
	OwnHz    float64  `name:"own-hz" placeholder:"HZ" help:"The audio frequency that you transmit on: a signal there is your own, and is left out."`
	At       string   `placeholder:"UTC" help:"When the first sample of the recording was taken, by the clock to be judged: 2031-02-03T04:05:15.0Z. Its last digit counts as ± 1."`
	Offsets  bool     `help:"By hand: the arguments are the time offsets that your decoder shows, in seconds, one for each station. Positive = they seem to come late."`
	Once     bool     `help:"End when something was heard."`
	Check    bool     `help:"Only compare; tell the service nothing."`
	Where
	Output
}

// Until waits.
type Until struct {
	Modes []string      `arg:"" optional:"" name:"mode" help:"A mode that must be within, e.g. FT8. Default: the mode in use, else the modes that the service shows."`
	Bound float64       `placeholder:"SECONDS" help:"The error and its ± (99 %) must lie within this; alone, no mode counts."`
	Limit time.Duration `default:"90s" placeholder:"TIME" help:"Wait no longer than this: 30s, 5m; at most 24h."`
	Where
	Output
}

// Resume takes the clock back.
type Resume struct {
	Where
	Output
}

// Prepare leads through the evening at home.
type Prepare struct {
	Config string `placeholder:"FILE" help:"Configuration file. Default: /etc/noonmark/noonmark.toml, if it is there."`
	Once   bool   `help:"Say how it stands, and end."`
	Where
	Output
}

// Preflight checks the station.
type Preflight struct {
	Config string `placeholder:"FILE" help:"Configuration file. Default: /etc/noonmark/noonmark.toml, if it is there."`
	Output
}

// Pin shows the number.
type Pin struct {
	Where
	Output
}

// Ports lists serial ports.
type Ports struct {
	Probe string `placeholder:"PORT" help:"Open this port and listen for a receiver. This may key a transmitter that is wired to it; asks first."`
	Yes   bool   `help:"With --probe: do not ask. Nothing that transmits is wired to this port."`
	Output
}

// Version names the build.
type Version struct{ Output }

// Completion prints a shell script; Parse does that itself.
type Completion struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}
