package cli

// about is the head of the help, for somebody who has just met the program.
const about = `noonmark says whether this computer's clock is right enough for timed
weak-signal modes. It says how it knows, how long that will last, and where the
station is. It listens to a GNSS receiver and the hardware clock, and needs no
network.

Start with:

  noonmark demo             the whole of it on a simulated station
  noonmark ports            which receiver would be used
  noonmark run              the service; then, in another terminal:
  noonmark ready FT8        may I key up?
  noonmark grid             where am I?

noonmark run only watches the clock; run --steer, and the service of the Debian
package, set and steer it.

Times are for radio operating; no traceability to UTC is claimed. Not for
navigation. In distress give coordinates, not only a locator. Transmit only
within your licence, and stay at the controls.`

// Help implements kong's detailed help.
func (Run) Help() string {
	return `Reads the receiver, the hardware clock and, if there is one, the network. Judges the system clock, and publishes /run/noonmark/status.json about once a second. Without a setting it opens only a device whose identity belongs to GNSS receivers. Opening another serial port can key a transmitter. Name yours with --device if it is not found. It ends at Ctrl-C.

With --steer it also sets and keeps the system clock and the hardware clock. For that it needs the right to do so (CAP_SYS_TIME). No other program may do the same.

    noonmark run
    noonmark run --device /dev/serial/by-id/NAME --mode FT8
    noonmark run --device tcp://192.168.1.20:10110`
}

// Help implements kong's detailed help.
func (Demo) Help() string {
	return `A survey camp on a salt flat, locator FG69, with a simulated receiver, hardware clock and oscillator. In another terminal ask about it with --demo: noonmark ready --demo, and so why, grid, path, report, screen. Every answer says that it is a simulation. The other stories show a trouble and its remedy, in less than a minute at --speed 60.

    noonmark demo
    noonmark demo --speed 720
    noonmark demo --scenario liar --speed 60`
}

// Help implements kong's detailed help.
func (Replay) Help() string {
	return `Plays the recording by the time stamps in it, as fast as it goes. Prints the judgement as it changes, then why, then what was read and what was skipped.

    noonmark replay night.nmea
    noonmark replay --json night.nmea morning.nmea`
}

// Help implements kong's detailed help.
func (Ready) Help() string {
	return `Exit status 0: the clock is within the tolerance of every mode asked for. 1: it is not. 2: the question was malformed. 3: cannot tell, because no fresh status is there.

    noonmark ready
    noonmark ready FT8 && echo "key up"`
}

// Help implements kong's detailed help.
func (Grid) Help() string {
	return `Southern latitudes and western longitudes are negative and are written as they are. Decimals have a point; what may be a decimal comma is refused. The answer has the nearest border of the square, and the sun of the next 24 hours, in UTC. It also has what a compass shows (World Magnetic Model, to the end of 2029). Exit status 3 means that there is no fix.

    noonmark grid
    noonmark grid FG69
    noonmark grid -20.13,-67.49
    noonmark grid -20.13 -67.49 --length 6
    noonmark grid FG69gu --neighbours --miles
    noonmark grid --track day.nmea
    noonmark grid --track day.gpx --length 4 --csv`
}

// Help implements kong's detailed help.
func (Path) Help() string {
	return `Headings are true, both for the short path and for the long one. Those by compass stand in a line of their own. They follow the World Magnetic Model, which holds to the end of 2029. The answer carries its ±: a locator names an area, of 100 km and more if it has four characters. Put quotes around a place that has blanks. A list has one place a line, and a name after # if you like. Or its first line names its columns (name,lat,lon or locator,name). A line that is no place is reported, and the others are answered (exit status 1). Not for navigation.

    noonmark path FF46
    noonmark path -20.13,-67.49 FG69
    noonmark path JN58 FG69 --at 2031-02-03T18:00Z
    noonmark path --json -33.45,-70.66 -20.13,-67.49
    noonmark path --list camps.txt FG69
    noonmark path --list - --csv FG69 < camps.txt`
}

// Help implements kong's detailed help.
func (Report) Help() string {
	return `The text says UTC, locator, coordinates, how good and how old they are. What is wrong stays in it however short it gets: OLD and POOR of the place, EXERCISE of a simulation. A question mark or "time not confirmed" stands behind a time that nothing confirms. Degrees are WGS 84 and have three decimals at least, for 20.13 can be heard as 20 degrees 13 minutes. Bearings are true, and by compass where the World Magnetic Model holds. noonmark sends nothing.

With --fit numbers get fewer decimals and the locator fewer pairs. What does not fit is left out whole: the way first, then the coordinates. With --distress the locator goes first, then the time.

Words of a template: {{.Date}} {{.Clock}} {{.TimeProved}} {{.TimeBoundS}} {{.Locator}} {{.Degrees}} {{.LatDeg}} {{.LonDeg}} {{.AltM}} {{.BoundM}} {{.AgeS}} {{.Quality}}. Besides {{.Old}} {{.Poor}} {{.Kept}} {{.Moving}} {{.Satellites}} {{.Way}} {{.Exercise}} {{.Distress}} {{.Problems}}. Where a place is named: {{.To.Name}} {{.To.DistanceM}} {{.To.HeadingDeg}} {{.To.CompassDeg}}. {{.Aloud}} is how to read the place aloud. A number that may not be known prints as "not known"; its .OK tells, its .V is the number. What a template leaves out about a poor place is said on standard error.

Not for navigation. In distress give coordinates, not only a locator. Any means may be used to call for help, by the procedures of where you are.

Exit status 0: there is a text. 1: it does not fit. 2: the question was malformed. 3: the station does not know where it is, or no fresh status is there.

    noonmark report
    noonmark report --fit 40
    noonmark report --to BASE=-20.46,-66.82
    noonmark report --template {{.Locator}}/{{.Clock}}
    noonmark report --distress`
}

// Help implements kong's detailed help.
func (Why) Help() string {
	return `Five lines: the answer, the next step, the clock, its main source, and what is done to it. With --all: what each source says, whether it is trusted and why, and the parts of the worst case.

    noonmark why
    noonmark why --all
    noonmark why --json`
}

// Help implements kong's detailed help.
func (Screen) Help() string {
	return `The answer in large letters, the next step below it. For 80 columns and 24 lines; a smaller terminal shows less. Only what changes is sent, so that it works over a slow line. A simulation stands in a frame. Ends with q or Ctrl-C.

    noonmark screen`
}

// Help implements kong's detailed help.
func (Follow) Help() string {
	return `The second, small service: it follows the status that "noonmark run" publishes. It runs the commands of [events] in the settings, and publishes the status to the MQTT broker of [mqtt]. So the service that judges the clock runs nothing and connects to nobody. A simulation is never acted on. It ends at once if neither is configured, else at Ctrl-C.

A command finds the event and the status as JSON on its standard input. In its environment NOONMARK_EVENT is verdict-lost, verdict-regained, locator-changed, trust-changed or battery-low. The rest is in NOONMARK_TEXT, NOONMARK_MODE, NOONMARK_LOCATOR, NOONMARK_REFERENCE, NOONMARK_IS, NOONMARK_WAS and NOONMARK_MISSED.

    noonmark follow
    noonmark follow --config /etc/noonmark/noonmark.toml`
}

// Help implements kong's detailed help.
func (Mark) Help() string {
	return `Tune to a time signal; press Enter on the tone of a full minute and on the tones after it. Several taps together are good to about a quarter of a second. People who expect a tone tap a little early. People who react to it are late by a sixth of a second. So mark asks which you do. The way of the signal is allowed for. A running service takes the mark as one reference among others and judges. Without a service the system clock is only compared. Transmitters' schedules change, and some minutes are no mark of UTC: mark says so. A slip is taken back with --withdraw: the service then judges as if the last mark had never been made.

    noonmark mark --list
    noonmark mark --station WWV
    noonmark mark --station BPM --react --minutes --taps 5 --place FG69
    noonmark mark --withdraw`
}

// Help implements kong's detailed help.
func (Until) Help() string {
	return `For what must not start before the clock is right. It always ends, and says why. Exit status: 0 when what was asked for is so, 1 when the limit is up.

    noonmark until FT8
    noonmark until --bound 0.1 --limit 5m
    noonmark until && start-the-log`
}

// Help implements kong's detailed help.
func (Prepare) Help() string {
	return `Start the service, give the receiver open sky, and connect to a network if there is one. Each step is done, under way, or missing. prepare says what to do, and how long it still takes. On a terminal it goes on until all is learned. Ctrl-C ends the view at any time, and the service goes on learning. Exit status: 0 if all is learned, 1 if something is missing or under way.

    noonmark prepare
    noonmark prepare --once`
}

// Help implements kong's detailed help.
func (Preflight) Help() string {
	return `Looks at devices, permissions, batteries, other programs that steer the clock, memory, disk, and the list of leap seconds. Names the remedy of each fault. It changes nothing and opens no serial port. Exit status: 0 if nothing is in the way, 1 if something is.

    noonmark preflight
    sudo -u noonmark noonmark preflight`
}

// Help implements kong's detailed help.
func (Resume) Help() string {
	return `When another program sets the clock again and again, noonmark leaves the clock to it. After an hour, later after six, it looks again. Stop that program first (noonmark preflight looks for it). Then this lets noonmark set the clock again at once. An operator's own corrections, three in an hour, are not taken for a program.

    sudo noonmark resume`
}

// Help implements kong's detailed help.
func (Pin) Help() string {
	return `Who sees the page can only look. The page asks for this number before it takes a mark, a borrowed clock or another mode. Each start of the service makes a new one. Only the service's own user and root may see it. The page is not encrypted: who listens on the network can read the number when it is used. Exit status 3 means that no service is running, or that you may not see it.

    sudo noonmark pin`
}

// Help implements kong's detailed help.
func (Ports) Help() string {
	return `Opens nothing, unless you ask for it with --probe. Opening a port raises its control lines, and on many stations that keys the transmitter.

    noonmark ports
    noonmark ports --probe /dev/ttyUSB0`
}

// Help implements kong's detailed help.
func (Completion) Help() string {
	return `Load it once to try it, or put it where your shell looks for it:

    source <(noonmark completion bash)
    noonmark completion zsh > ~/.zfunc/_noonmark
    noonmark completion fish > ~/.config/fish/completions/noonmark.fish`
}

// Help implements kong's detailed help.
func (Hear) Help() string {
	return `Other stations keep their clocks by networks and satellites. How late five or more of them come tells how far this clock is off, modulo the mode's period. Signals are found by their sync alone: no message is decoded, no call sign read or kept. Your own signal is no witness, nor are stations of your camp that take their time from you. Do not listen to them alone.

The sign, by hand: your decoder shows +0.8 for most of them, because they seem to start 0.8 s late. Then your clock is 0.8 s fast.

    noonmark hear
    noonmark hear --sound plughw:1 --mode FT8
    noonmark hear --offsets 0.8 0.9 0.7 0.8 1.0 --mode FT8
    noonmark hear period.wav --at 2031-02-03T04:05:15.0Z
    noonmark hear --json period.wav`
}
