package world

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/bank"
	"noonmark/clockcheck/timescale"
	"noonmark/cmd/internal/keep"
	"noonmark/cmd/internal/record"
	"noonmark/cmd/internal/station"
	"noonmark/gnss/gnsstest"
	"noonmark/status"
)

// day is what happens to a station in a day, in fractions of it: everything that could
// leave something behind. n counts days.
func day(n int, length time.Duration) []Chapter {
	at := func(f float64) time.Duration { return time.Duration((float64(n) + f) * float64(length)) }
	other := gnsstest.Typical()
	other.Talker = []string{"GN", "GP"}[n%2]
	other.Latency.Mean = time.Duration(60+n%7*20) * time.Millisecond // another one every day of the week
	camp := []Server{{Name: "10.1.2.3", Bound: 20 * time.Millisecond}, {Name: "10.1.2." + strconv.Itoa(4+n), Error: time.Duration(n%3) * time.Second, Bound: 20 * time.Millisecond}}
	inTent := gnsstest.Scene{Satellites: 1}
	story := []Chapter{
		{From: at(0), Scene: open, Servers: camp},
		{From: at(.10), Scene: open, Mark: &byEar},
		{From: at(.15), Scene: open, Step: 2 * time.Second},
		{From: at(.20), Scene: open, Void: length / 50},
		{From: at(.25), Scene: inTent},
		{From: at(.50), Scene: open, Down: 20 * time.Second},
		{From: at(.60), Scene: open, Plug: &other},
		{From: at(.75), Scene: gnsstest.Scene{Satellites: 11, FalseTime: 3 * time.Second}},
		{From: at(.80), Scene: open},
		{From: at(.85), Scene: open, Sleep: length / 40},
	}
	if n%3 == 2 {
		story = append(story, Chapter{From: at(.95), Scene: open, Off: length / 30, Cut: n%2 == 0})
	}
	return story
}

// left is what a day leaves behind.
type left struct{ heapKB, goroutines, descriptors, files, recordKB, stateB int }

func (a left) most(b left) left {
	return left{max(a.heapKB, b.heapKB), max(a.goroutines, b.goroutines), max(a.descriptors, b.descriptors), max(a.files, b.files),
		max(a.recordKB, b.recordKB), max(a.stateB, b.stateB)}
}

// A month at full byte level, each sentence as its bytes, with status, state and record on
// a file system: what a station holds and leaves does not grow. The first third of the days
// fills what has a bound; the last third must need no more than it. Short: six days of ten
// minutes. NOONMARK_DAYS=30 plays so many whole ones.
func TestMonth(t *testing.T) {
	days, length := 6, 10*time.Minute
	if text := os.Getenv("NOONMARK_DAYS"); text != "" {
		var err error
		if days, err = strconv.Atoi(text); err != nil || days < 6 {
			t.Fatalf("NOONMARK_DAYS=%q: want a number from 6 on", text)
		}
		length = 24 * time.Hour
	}
	dir := t.TempDir()
	if shm, err := os.MkdirTemp("/dev/shm", "noonmark-month"); err == nil { // in memory, as /run is
		dir = shm
		t.Cleanup(func() { os.RemoveAll(shm) })
	}
	m := newMonth(t, dir, days, length)
	var of []left
	for n := range days {
		of = append(of, m.day(t, time.Duration(n+1)*length))
		t.Logf("day %d: %+v", n+1, of[n])
	}
	third := days / 3
	first, last := of[0], of[days-1]
	for n := range third {
		first, last = first.most(of[n]), last.most(of[days-1-n])
	}
	if last.heapKB > first.heapKB+first.heapKB/10+64 || last.goroutines > first.goroutines || last.descriptors > first.descriptors ||
		last.files > first.files || last.recordKB > m.mostKB+m.mostKB/8 || last.stateB > first.stateB+first.stateB/4+512+accountsB(t) || last.stateB > 64<<10 {
		t.Errorf("grew: in the first third of the days at most %+v, in the last %+v", first, last)
	}
	t.Logf("%d days of %v: %d looks, of which %d missed the truth and %d were falsely within", days, length, m.looked, m.missed, m.falsely)
	if m.falsely > 0 {
		t.Errorf("within falsely for %d s", m.falsely)
	}
}

type month struct {
	w                       *World
	dir                     string
	publish                 *status.Publisher
	record                  *record.Folder
	head                    func() record.Header
	mostKB, boots           int
	local                   timescale.Local // of the last second
	saved                   int
	looked, missed, falsely int
}

func newMonth(t *testing.T, dir string, days int, length time.Duration) *month {
	t.Helper()
	m := &month{dir: dir, mostKB: 512}
	var err error
	if m.publish, err = status.NewPublisher(filepath.Join(dir, "run"), true); err != nil {
		t.Fatal(err)
	}
	cfg := steered("rtc_cmos rtc-cmos")
	m.head = func() record.Header {
		if m.w == nil {
			return record.Header{Config: cfg}
		}
		return record.Header{Config: cfg, Learned: m.w.Station.Learned(), Steering: m.w.Station.LearnedSteering(), Place: m.w.Station.LastPlace()}
	}
	m.begin(t)
	cfg.Record = func(in *station.Input) { m.record.Put(in) }
	s, _ := Named("camp")
	s.Story, s.Length = nil, time.Duration(days)*length
	for n := range days {
		s.Story = append(s.Story, day(n, length)...)
	}
	m.w = New(s, cfg, 30)
	t.Cleanup(func() { m.publish.Close(); m.record.Close() })
	return m
}

// begin begins a record, as the program does at each start of the computer.
func (m *month) begin(t *testing.T) {
	t.Helper()
	if m.record != nil {
		if err := m.record.Close(); err != nil {
			t.Fatal(err)
		}
	}
	m.boots++
	var err error
	if m.record, err = record.OpenFolder(filepath.Join(m.dir, "record"), int64(m.mostKB)<<10, fmt.Sprintf("boot%03d", m.boots), m.head); err != nil {
		t.Fatal(err)
	}
}

// day plays on until the story has lasted so long, and looks at what is left.
func (m *month) day(t *testing.T, until time.Duration) left {
	t.Helper()
	for m.w.Elapsed() < until {
		snap := m.w.Second()
		m.judge(snap)
		if m.w.Local() < m.local {
			m.begin(t)
		}
		m.local = m.w.Local()
		if m.looked%10 == 0 { // each second it would be two thirds of the processor's time
			if err := m.publish.Publish(snap); err != nil {
				t.Fatal(err)
			}
		}
		if err := m.record.Tick(m.w.Local()); err != nil {
			t.Fatal(err)
		}
		for ; m.saved < m.w.StateWrites(); m.saved++ {
			if err := keep.Save(m.dir, keep.State{Learned: m.w.kept.learned, Steering: m.w.kept.steering, Place: m.w.kept.place}); err != nil {
				t.Fatal(err)
			}
		}
	}
	return m.left(t)
}

// judge holds the month to the one rule.
func (m *month) judge(snap *status.Snapshot) {
	truth := m.w.SystemError()
	m.looked++
	if c := snap.Clock; c.GuardS.OK && math.Abs(c.ErrorS.V-truth) > c.GuardS.V {
		m.missed++
	}
	if slices.ContainsFunc(snap.Modes, func(x status.Mode) bool { return x.Verdict == status.Within && math.Abs(truth) > x.ToleranceS }) {
		m.falsely++
	}
}

func (m *month) left(t *testing.T) (l left) {
	t.Helper()
	var mem runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&mem)
	l.heapKB, l.goroutines = int(mem.HeapAlloc>>10), runtime.NumGoroutine()
	if fds, err := os.ReadDir("/proc/self/fd"); err == nil {
		l.descriptors = len(fds)
	}
	for _, of := range []string{"", "run"} {
		all, err := os.ReadDir(filepath.Join(m.dir, of))
		if err != nil {
			t.Fatal(err)
		}
		l.files += len(all)
	}
	parts, err := record.Files(filepath.Join(m.dir, "record"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range parts {
		info, err := os.Stat(name)
		if err != nil {
			t.Fatal(err)
		}
		l.recordKB += int(info.Size()>>12+1) << 2 // in blocks, so that it bounds their number, too
	}
	b, err := json.Marshal(keep.State{Learned: m.w.Station.Learned(), Steering: m.w.Station.LearnedSteering(), Place: m.w.Station.LastPlace()})
	if err != nil {
		t.Fatal(err)
	}
	l.stateB = len(b)
	return l
}

// accountsB is how large what a doubt leaves may be in the state, bytes: it comes and goes, and the days of the first third may
// have none. Beside UTC and beside the hardware clock are MaxAccounts at most, each with its set of the doubted.
func accountsB(t *testing.T) int {
	const f = -math.Pi * 1e-9 // as long as any
	a := clockcheck.HeldAccount{ReceiverFalse: true, DearerNats: -f, OffS: f, SigmaS: -f, RoomLoS: f, RoomHiS: -f, RatePPM: f, RateSigmaPPM: -f, Ancestry: all,
		Confirmed: math.MaxInt64, Rated: math.MaxInt64, Stream: true, LatenessS: f, Another: true, Leads: true, False: all}
	one, err := json.Marshal(struct {
		A clockcheck.HeldAccount
		D clockcheck.DoubtedSet
	}{a, clockcheck.DoubtedSet{Whom: all, Nats: -f}})
	if err != nil {
		t.Fatal(err)
	}
	return 2 * bank.MaxAccounts * len(one)
}

// all are the names that whom a doubt concerns may have.
var all = []string{"receiver", "server", "operator", "air", "unknown", "clock"}
