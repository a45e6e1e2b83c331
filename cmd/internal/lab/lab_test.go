package lab

import (
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

const folder = "../../../testdata/scenarios"

func scenarios(t testing.TB) (cases []*Case) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*.scenario"))
	if err != nil || len(files) < 30 {
		t.Fatalf("%d scenarios in %s, %v", len(files), folder, err)
	}
	for _, f := range files {
		c, err := Read(f)
		if err != nil {
			t.Fatal(err)
		}
		cases = append(cases, c)
	}
	return cases
}

// long asks for the long worlds too: a step of .ci/run of its own. NOONMARK_LONG=2 plays
// every scenario twice.
var long = os.Getenv("NOONMARK_LONG") != ""

// part is every nth of all, and all of them where the long worlds are asked for: the plain
// test has to stay fast, and .ci/run plays all in a step of its own.
func part[T any](all []T, n int) (some []T) {
	for i := range all {
		if long || i%n == 0 {
			some = append(some, all[i])
		}
	}
	return some
}

// refuses names the scenarios in which the judge says within later than their files
// expect, or never, and why. None says anything false.
var refuses = map[string]string{
	"clock-a-second-slow": "the second is proved after three pages, 43 min, not two; a lateness that nobody knows is anywhere in its range",
	"ear-signal":          "a learned lateness that nothing bears out may be another unit's",
	"sleep-twice":         "as ear-signal: what is proved before a sleep is learned after it",
}

// Everything that the files expect holds, but for what is named above, and nothing false is
// said.
func TestScenarios(t *testing.T) {
	cases, seeds := part(scenarios(t), 4), uint64(1)
	if os.Getenv("NOONMARK_LONG") == "2" {
		seeds = 2
	}
	if testing.Short() { // the race detector makes it ten times slower
		cases, seeds = cases[:2], 1
	}
	for _, r := range Rows(PlayAll(Seeds(cases, seeds), 0)) {
		why, named := refuses[r.Scenario]
		switch {
		case r.False > 0 || r.Missed > 0:
			t.Errorf("%s: %d s of false within, guard missed %d s", r.Scenario, r.False, r.Missed)
		case r.Good < r.Nights && !named:
			t.Errorf("%+v", r)
		case r.Good == r.Nights && named:
			t.Errorf("%s holds, though %s: take it off the list", r.Scenario, why)
		}
	}
}

// The reasons are of scenarios that there are.
func TestRefusalsAreNamed(t *testing.T) {
	all := map[string]bool{}
	for _, c := range scenarios(t) {
		all[c.Name] = true
	}
	for n, why := range refuses {
		if !all[n] || why == "" {
			t.Errorf("%q, because %q: no such scenario, or no reason", n, why)
		}
	}
}

// shownBeside names the explanations without which no scenario falls, and what shows them
// instead: a test of package bank.
var shownBeside = map[string]string{
	"kernel's writes leave the clock anywhere": "TestWritesScatter",
	"what is false fits by chance":             "TestLoneReceiverComesBack",
	"what is false moves besides":              "TestFalseMovesToo",
}

// Each explanation has a scenario that falls where it is forbidden, or is named above.
func TestEachExplanationIsShown(t *testing.T) {
	if testing.Short() {
		t.Skip("one night an explanation takes long under the race detector")
	}
	shows := map[string][]*Case{}
	for _, c := range scenarios(t) {
		for _, name := range c.Shows {
			shows[name] = append(shows[name], c)
		}
	}
	names := Explanations()
	for _, name := range names {
		if _, beside := shownBeside[name]; beside == (len(shows[name]) > 0) {
			t.Errorf("%q: %d scenarios show it; named as shown by none: %v", name, len(shows[name]), beside)
		}
	}
	for name := range shownBeside {
		if !slices.Contains(names, name) {
			t.Errorf("no explanation is called %q", name)
		}
	}
	for _, name := range part(names, 5) {
		without, err := Forbid(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range shows[name] {
			if c.Play(1, without, nil).Good() {
				t.Errorf("%s holds without the explanation %q that it says it shows", c.Name, name)
			}
		}
	}
}

// Random nights in which the judge once said something false, or had the truth outside its
// guard, and which assumption was wrong.
func TestNightsThatWentWrong(t *testing.T) {
	if !long {
		t.Skip("long: NOONMARK_LONG=1")
	}
	anew := func(seed uint64) *Case { return RandomNew(seed, "") }
	nights := []struct {
		seed uint64
		make func(uint64) *Case
		why  string
	}{
		{220028, anew, "a line over a network backed up and caught up; each move was as dear as a unit that moves once in its life"},
		{31013, anew, "another receiver of the same identity: the doubt of the lateness was not kept; what is held and the hardware clock counted as two"},
		{31024, anew, "the first server to answer lied by 270 s, and the next had not been asked yet"},
		{21020, anew, "the hardware clock was set by an hour while the program was dead, and spoke before what was held"},
		{31107, anew, "good-for, while a false signal drags"},
		{41006, Random, "good-for, while a false signal drags"},
		{43, Random, "76 s of false within"},
		{210044, anew, "in a silence the kernel wrote a compensated hardware clock from a clock whose crystal had turned"},
		{210047, anew, "the receiver came back where a fork in the cold had not carried it: that it was right had no place"},
		{310046, anew, "a start found the receiver elsewhere than the state of two hours ago had it, and called that a jump: the oscillator had carried it there"},
		{140046, anew, "UTC and the lateness, as one run left them, counted as two words: at each start the guard shrank"},
		{310260, anew, "the doubt that another unit was plugged in was not kept, for its lateness was near"},
		{410157, anew, "a receiver whose line was too slow was ahead of a portal by three minutes, and that spoke against nobody"},
		{410679, Random, "a hardware clock that had gone astray took an untold lateness half a second below nothing"},
		{410665, anew, "a mark three seconds wrong fitted a line over a network, which may be late by ten, and that it was false was nobody's account"},
		{420023, func(seed uint64) *Case { return RandomNew(seed, "backlog") }, "a mark contradicted the likeliest account, and only that one doubted it: another lead fitted the mark, and was as likely"},
		{410344, anew, "a wrong mark took a lateness below nothing, by an account to which the receiver was false since"},
		{410275, anew, "who had paid for a fork in the cold paid again at each move of another account's lateness"},
		{410441, anew, "as in 410275, by 3.7 s"},
		{410310, anew, "a stream whose lateness went away was to show that the cold had turned the oscillator by 20 ppm"},
		{410029, anew, "a portal beside a false signal that went: each move of the right receiver's lateness spoke against it"},
		{190009, anew, "as in 410029, and a mark a second wrong fitted the lateness that nobody proved"},
		{520013, anew, "the hardware clock was kept about the middle of all accounts: beside a lateness that is known that spoke against the truth"},
		{410149, anew, "a lateness of 1.04 s that two servers told was not kept, for it was not quite proved: after a power-off a mark wrong by a second made 0.04 s of it"},
		{410678, anew, "a hardware clock whose newest reading did not fit was kept over a power cut as if it had"},
		{620250, anew, "an account of 1e-3, that another unit is plugged in, was kept half as wide as it was"},
		{600387, anew, "where nothing of the hardware clock was kept, a power cut ended the doubt of three servers"},
		{600135, anew, "a pulled cable made the next page of leap-second data a first one"},
		{600740, anew, "a usual unit took the place of one that named the second to come, and was to be late by 0.25 s about that one's lateness"},
		{600795, anew, "what an earlier run knew of the hardware clock went along by a second with a receiver that was found to lead by one more"},
		{410424, anew, "what the run before knew by a false receiver alone was to be false for a price of its own, so three servers had no account"},
		{180018, anew, "who heard a receiver was not asked how a crystal could go so far, for another account was likelier; and the rate that was kept was the likeliest's alone"},
	}
	for _, n := range nights {
		for _, r := range Rows(PlayAll([]Job{{n.make(n.seed), n.seed}}, 0)) {
			if r.False > 0 || r.Missed > 0 || r.Good < r.Nights {
				t.Errorf("%d (%s): %d s of false within, guard missed %d s, %+v", n.seed, n.why, r.False, r.Missed, r.Breaks)
			}
		}
	}
}

var nights = flag.Uint64("nights", 16, "how many random nights")

// More of them: go run ./cmd/stationlab nights --count 10000
func TestRandomNights(t *testing.T) {
	n := *nights
	switch {
	case testing.Short():
		n = 1
	case !long:
		n = min(n, 10)
	}
	var jobs []Job
	for s := range n {
		jobs = append(jobs, Job{Random(s + 1), s + 1})
	}
	for _, night := range PlayAll(jobs, 0) {
		if !night.Good() {
			t.Errorf("seed %d: %+v, guard missed %d s", night.Seed, night.Modes, night.Missed)
		}
	}
}

// Same file, same seed, same night.
func TestDeterministic(t *testing.T) {
	a, b := Random(7), Random(7)
	a.Length, b.Length = 30*time.Minute, 30*time.Minute
	x, y := a.Play(7, 0, nil), b.Play(7, 0, nil)
	if x.RMS != y.RMS || x.Max != y.Max || x.Modes[0] != y.Modes[0] || len(x.Samples) != len(y.Samples) || x.Samples[0] != y.Samples[0] {
		t.Errorf("%+v\n%+v", x, y)
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"word that begins nothing", "lasts 1 h\nfrobnicate", `x:2: "frobnicate" begins no statement`},
		{"no length", "about nothing", "x: it does not say how long it lasts"},
		{"no unit", "lasts 5", "x:1: the length: the unit s is missing"},
		{"wrong unit", "lasts 5 ppm", `x:1: the length: the unit is "ppm", wanted s`},
		{"fast or slow", "system clock 3 s", "x:1: the system clock's error: say fast or slow"},
		{"more than is understood", "lasts 5 h or so", `x:1: "or so" is not understood here`},
		{"no such mode", "modes FT7", "x:1: "},
		{"no such basis", "expect basis gps always", `x:1: "gps" is not a basis: pps, gnss`},
		{"when", "expect FT8 within", "x:1: say when"},
		{"mode not shown", "lasts 1 h\nmodes FT8\nexpect FT4 within always", "the mode is not among those shown"},
		{"after the end", "lasts 1 h\nexpect FT8 within at 2:00", "the story is over by then"},
		{"end before begin", "expect FT8 within from 1:00 to 0:30", "x:1: the end is before the begin"},
		{"time order", "at 1:00 sky 3\nat 0:30 sky 4", "x:2: events must be in the order of time"},
		{"no time", "at noon sky 3", `x:1: the instant: "noon" is no time such as 1:30`},
		{"nothing that happens", "at 0:01 rain", `x:1: "rain" is not known as something that can happen`},
		{"receiver's property", "receiver blue", `x:1: "blue" is not known as a receiver's property`},
		{"open quote", `expect receiver says "leap always`, "x:1: a quote is opened and not closed"},
		{"explanation", "shows explanation gravity", `x:1: no explanation is called "gravity"; there are whole second missing`},
		{"battery", "at 0:01 battery flat", "x:1: a battery is good, low or dead"},
	} {
		if _, err := Parse("x", strings.NewReader(c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.name, err, c.want)
		}
	}
	if _, err := Parse("x", failing{}); err == nil {
		t.Error("a file that cannot be read is no scenario")
	}
}

type failing struct{}

func (failing) Read([]byte) (int, error) { return 0, errors.New("torn") }

// What a file says is what the world is made of.
func TestParse(t *testing.T) {
	c, err := Parse("x", strings.NewReader(`
about A story,   in two
about lines.   # and a remark
starts 2031-06-01 12:00:00
lasts 90min
oscillator 9 ppm slow, wander 0.3 ppm, temperature 0.1 ppm
air -10 C, swing 8 C
system clock 310ms fast
receiver cold, latency 80 ms, speed 4800 baud, second group 40 % later by 200 ms, leap seconds missing 3
hardware clock compensated, 0.6 ppm fast, error 140 ms slow, off for 2 days
at 0:10 server one 2 s slow, bound 5 ms
at 0:10 server two right
at 0:20 server one gone
at 0:30 false signal drags 400 ppm slow
at 0:40 power off for 5 min, without shutdown, state lost
expect not proved second from 0:10 to 0:20
`))
	if err != nil {
		t.Fatal(err)
	}
	r := c.Receiver
	if c.Summary != "A story, in two lines." || c.Length != 90*time.Minute || c.Osc.PPM != -9 || c.Osc.TempPPM != 0.1 || c.Air.OffC != -35 ||
		c.SystemError != 310*time.Millisecond || r.Warm || r.Baud != 4800 || r.Latency.Bimodal != 0.4 || r.Latency.BimodalBy != 200*time.Millisecond ||
		r.LeapMissing != 3 || !c.Compensated || c.RTCError != -140*time.Millisecond || c.OffFor != 48*time.Hour {
		t.Errorf("%+v", c)
	}
	s := c.Story
	if len(s) != 6 || len(s[2].Servers) != 2 || s[1].Servers[0].Error != -2*time.Second || len(s[3].Servers) != 1 || s[3].Servers[0].Name != "two" ||
		s[4].Scene.FalseDrag != -400*time.Microsecond || s[5].Off != 5*time.Minute || !s[5].Cut || !s[5].Forget {
		t.Errorf("%+v", s)
	}
	if len(c.Expect) != 1 || c.Expect[0].when != (window{10 * time.Minute, 20 * time.Minute}) {
		t.Errorf("%+v", c.Expect)
	}
}

// A night that goes wrong is found out: the measure itself is measured.
func TestBreaksAreFound(t *testing.T) {
	for _, text := range []string{"expect FT8 outside always", "expect once basis pps always", "expect event leap-second before 0:03",
		"expect bound below 1 µs from 0:01", "expect hardware clock faulty at 0:02", `expect clock says "moon" at 0:02`} {
		c, err := Parse("x", strings.NewReader("lasts 4 min\nhardware clock compensated\nlearned\n"+text))
		if err != nil {
			t.Fatal(err)
		}
		if n := c.Play(1, 0, nil); len(n.Breaks) != 1 || n.Good() {
			t.Errorf("%s: %+v", text, n)
		}
	}
}

func TestCoverage(t *testing.T) {
	var nights []*Night
	for i := range 100 {
		nights = append(nights, &Night{Samples: []Sample{{"gnss", true, float64(i) / 1000, 0.0975}}})
	}
	c := Coverages(nights)
	if len(c) != 1 || c[0].Nights != 100 || math.Abs(c[0].Covered-0.98) > 1e-9 || c[0].P99 != 0.099 || c[0].Median != 0.0975 {
		t.Errorf("%+v", c)
	}
}

// The picture is well-formed and names what happened.
func TestPicture(t *testing.T) {
	c, err := Read(filepath.Join(folder, "sleep.scenario"))
	if err != nil {
		t.Fatal(err)
	}
	var p Picture
	c.Play(1, 0, p.Add)
	svg := p.SVG(c)
	d := xml.NewDecoder(strings.NewReader(string(svg)))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	if !strings.Contains(string(svg), "slept") || !strings.Contains(string(svg), "FT8 tolerance") {
		t.Error("the picture lacks the event or the tolerance")
	}
}

func TestTeller(t *testing.T) {
	c, err := Parse("x", strings.NewReader("lasts 2 min\nhardware clock compensated\nlearned"))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	c.Play(1, 0, Teller(&b))
	for _, want := range []string{"FT8 within", "hardware clock is trusted", "(started)", "truth +0.000 s"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
}

// BenchmarkNight is a night of 12 h, bytes and all.
func BenchmarkNight(b *testing.B) {
	for i := range b.N {
		c := Random(uint64(i + 1))
		c.Play(1, 0, nil)
	}
}
