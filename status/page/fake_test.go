package page

import (
	"flag"
	"net/http/httptest"
	"os"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
	"noonmark/status"
)

// Tests in a browser wait much and work little: more of them at once than processors.
func TestMain(m *testing.M) {
	flag.Parse()
	if n := flag.Lookup("test.parallel"); n.Value.String() == strconv.Itoa(runtime.GOMAXPROCS(0)) {
		n.Value.Set("4")
	}
	os.Exit(m.Run())
}

// fake is a station of a test: its time runs as this machine's does.
type fake struct {
	*Page
	t      testing.TB
	server *httptest.Server
	zero   time.Time
	still  atomic.Bool  // no more updates come
	later  atomic.Int64 // ns that have passed besides
	hold   sync.Mutex   // of snap
	snap   status.Snapshot
	each   func(*status.Snapshot) // changes what is put, each second; nil = nothing
}

// begin is the judged UTC of a fake at its start.
var begin = timescale.UTCOf(time.Date(2031, 2, 3, 4, 5, 6, 0, time.UTC))

func (f *fake) now() timescale.Local {
	return timescale.Local(time.Since(f.zero)) + timescale.Local(f.later.Load()) + 1_000_000_000
}

// newFake serves a page whose snapshot is change of a good one. The owner of the
// station is a goroutine of the test.
func newFake(t testing.TB, change, each func(*status.Snapshot)) *fake {
	f := &fake{t: t, zero: time.Now(), each: each}
	f.Page = New(Config{Now: f.now, Periods: map[string]Period{"FT8": {0.5, 12.64}, "FT4": {0.5, 5.04}, "WSPR": {1, 110.592}},
		Place: func(status.Position, timescale.UTC) ([]Row, []Row, Distances) {
			return []Row{{"Degrees", "-20.130000, -67.490000"}}, []Row{{"Sun", "up; sets 22:58 UTC"}}, Distances{Km: []string{"1000 km"}, Rows: []DistanceRow{{"N 000°", []string{"FH68"}}}}
		}, Square: func(status.Position) Square { return Square{0.62, 0.8, 8700, 4600} }})
	f.snap = good()
	if change != nil {
		change(&f.snap)
	}
	f.put()
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for tick := time.NewTicker(time.Second); ; {
			select {
			case <-tick.C:
				if !f.still.Load() {
					f.put()
				}
			case <-stop:
				return
			}
		}
	}()
	f.server = httptest.NewServer(f.Page)
	t.Cleanup(func() { close(stop); <-done; f.server.CloseClientConnections(); f.server.Close() })
	return f
}

// put makes an update of f.snap as of now; only its owner calls it.
func (f *fake) put() {
	at := f.now()
	f.hold.Lock()
	s := f.snap.Clone()
	f.hold.Unlock()
	s.Written.BoottimeS = float64(at) / 1e9
	if f.each != nil {
		f.each(&s)
	}
	s.Written.SystemUTC = status.At(begin.Add(time.Duration(at - 1_000_000_000)).Add(time.Duration(s.Clock.ErrorS.V * 1e9)))
	f.Put(Update{Snapshot: &s, At: at, Satellites: []Satellite{{"GPS 12", 40, 90, 41}, {"GPS 24", 70, 200, 47}, {"Galileo 3", 15, 320, 28}, {"GLONASS 8", 8, 300, -1}, {"GPS 5", -1, -1, -1}},
		Ahead: []Ahead{{0, -0.012, 0.142}, {86400, -0.1, 0.5}, {4 * 86400, -0.4, 2}}})
}

// edit changes what is put from now on.
func (f *fake) edit(change func(*status.Snapshot)) {
	f.hold.Lock()
	defer f.hold.Unlock()
	change(&f.snap)
}

// good is a station at its best, at a camp in FG69.
func good() status.Snapshot {
	mode := func(name string, period, tolerance float64) status.Mode {
		return status.Mode{Mode: name, InUse: name == "FT8", PeriodS: period, ToleranceS: tolerance, Verdict: status.Within,
			MarginS: status.Known(tolerance - 0.154), GoodForS: status.Known(190494),
			GoodUntilUTC: status.At(begin.Add(190494 * time.Second))}
	}
	return status.Snapshot{
		Live:    true,
		Written: status.Written{BootID: "b", StaleAfterS: 3},
		Clock: status.Clock{Basis: status.BasisGNSS, ErrorS: status.Known(-0.012), BoundS: status.Known(0.081), GuardS: status.Known(0.142),
			RatePPM: status.Known(-3.1), RateBoundPPM: status.Known(0.4), Proved: []string{"date", "second", "latency"},
			Ancestry: []string{"receiver", "server"}, Steering: status.SteeringObserving,
			Because: "By the receiver the clock is 0.012 s slow, give or take 0.081 s.",
			Budget:  []status.Term{{Term: "estimate", GuardS: status.Known(0.142), Because: "what the readings leave open, at 99.99 %"}}},
		Modes: []status.Mode{mode("FT8", 15, 1), mode("FT4", 7.5, 0.5), mode("WSPR", 120, 1)},
		Position: &status.Position{Locator: "FG69gu18et", LatDeg: status.Known(-20.13), LonDeg: status.Known(-67.49), AltM: status.Known(3656),
			BoundM: status.Known(9), Fix: "3d", Satellites: status.Known(11), AgeS: status.Known(0.4), EdgeM: status.Known(6)},
		References: []status.Reference{{Name: "receiver", Kind: "gnss", Trust: status.Trusted, Because: "Valid for 20 min.",
			ErrorS: status.Known(-0.01), BoundS: status.Known(0.09), AgeS: status.Known(0.4)},
			{Name: "hardware clock", Kind: "rtc", Trust: status.Doubted, Because: "It disagrees with the receiver.", Battery: status.BatteryLow}},
		Events:   []status.Event{{UTC: status.At(begin), Kind: "started", Text: "The time now comes from the receiver."}},
		Receiver: &status.Receiver{Device: "/dev/ttyACM0", Identity: "x", Sentences: 10, Epochs: 5, EpochsValid: 5},
	}
}
