package page

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// watchScreen notes, with each picture the browser makes, what the screen says: the
// answer if it can be seen, and whether it is called a simulation. First the instant for
// which the browser makes the picture, then that at which this is noted: a busy one comes
// to it later, and has perhaps heard something meanwhile.
const watchScreen = `window.screenSays = [];
	addEventListener("DOMContentLoaded", () => { let was = "", beat = 0;
	const look = () => {
		const a = document.getElementById("answer"), s = a && getComputedStyle(a);
		const seen = a && a.checkVisibility({visibilityProperty: true}) && Number(s.opacity) > 0.02;
		const sim = document.getElementById("sim")?.checkVisibility() ? "simulation " : "";
		const now = seen ? sim + a.querySelector(".word").textContent.trim().replace(/\s+/g, " ") : "nothing";
		const asked = Date.now(), at = Math.round(asked - Math.max(0, performance.now() - document.timeline.currentTime));
		if (now !== was || at - beat > 100) { screenSays.push(at + " " + asked + " " + now); beat = at; }
		was = now;
		requestAnimationFrame(look); };
	requestAnimationFrame(look); });`

// oldAfter is what no answer may reach; a picture's instant is told to the millisecond.
const oldAfter = 3*time.Second + 2*time.Millisecond

// truth is what stations judged, and when.
type truth struct {
	mu   sync.Mutex
	said []judged
}

type judged struct {
	at      time.Time
	verdict string
	live    bool
}

func (t *truth) note(s *status.Snapshot) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.said = append(t.said, judged{time.Now(), s.Modes[0].Verdict, s.Live})
}

// allows tells whether a picture for an instant, made at another, may say good, as a
// simulation or not.
func (t *truth) allows(at, made time.Time, simulation bool) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, j := range t.said {
		if at.Sub(j.at) <= oldAfter && j.at.Sub(made) <= 2*time.Millisecond && j.verdict == status.Within && j.live != simulation {
			return true
		}
	}
	return false
}

// since is how long before an instant the last good was judged.
func (t *truth) since(at time.Time, simulation bool) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	least := time.Duration(math.MaxInt64)
	for _, j := range t.said {
		if age := at.Sub(j.at); age >= 0 && j.verdict == status.Within && j.live != simulation {
			least = min(least, age)
		}
	}
	return least
}

// check holds a screen's notes to the truth and returns how often it said good.
func (t *truth) check(tt *testing.T, notes []string, what string) (good int) {
	tt.Helper()
	bad := 0
	for _, n := range notes {
		words := strings.SplitN(n, " ", 3)
		at, err := strconv.ParseInt(words[0], 10, 64)
		made, err2 := strconv.ParseInt(words[1], 10, 64)
		if err != nil || err2 != nil {
			tt.Fatal(n)
		}
		says := words[2]
		if !strings.Contains(says, "Clock good") {
			continue
		}
		good++
		if bad < 3 && !t.allows(time.UnixMilli(at), time.UnixMilli(made), strings.HasPrefix(says, "simulation")) {
			bad++
			tt.Errorf("%s: at %s the screen says %q; nobody has judged so for %s", what, time.UnixMilli(at).Format("05.000"), says, t.since(time.UnixMilli(at), strings.HasPrefix(says, "simulation")))
		}
	}
	return good
}

// stationFor is a station whose judgements are noted; good decides what each is.
func stationFor(t *testing.T, tr *truth, live bool, good func() bool) *fake {
	return newFake(t, nil, func(s *status.Snapshot) {
		s.Live = live
		if good != nil && !good() {
			s.Modes[0].Verdict = status.Outside
		}
		tr.note(s)
	})
}

func address(f *fake) string { return strings.TrimPrefix(f.server.URL, "http://") }

// TestNoOldOrSimulatedYes plays random faults of the link and of the station, and looks at
// the screen all the while. NOONMARK_FAULTS=200 plays so many.
func TestNoOldOrSimulatedYes(t *testing.T) {
	t.Parallel()
	faults, tabs := 6, 3
	if s := os.Getenv("NOONMARK_FAULTS"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal(err)
		}
		faults, tabs = n, 4
	}
	seed := uint64(time.Now().UnixNano())
	if s := os.Getenv("NOONMARK_FAULT_SEED"); s != "" {
		fmt.Sscan(s, &seed)
	}
	t.Logf("NOONMARK_FAULT_SEED=%d", seed)
	browser := pagetest.OpenFor(t, time.Duration(faults)*15*time.Second+3*time.Minute)
	var all sync.WaitGroup
	good := make([]int, tabs)
	played := make([][]string, tabs)
	for i := range tabs {
		b := browser.Tab(t)
		b.Before(watchScreen)
		all.Go(func() {
			rng := rand.New(rand.NewPCG(seed, uint64(i)))
			for n := i; n < faults; n += tabs {
				g, kind := playFault(t, b, rng, fmt.Sprintf("seed %d, fault %d", seed, n))
				good[i] += g
				played[i] = append(played[i], kind)
			}
		})
	}
	all.Wait()
	total := 0
	for _, g := range good {
		total += g
	}
	t.Logf("%d faults %q; the screens said good in %d notes", faults, played, total)
	if total < faults/2 {
		t.Error("the screens hardly ever said good: nothing is shown by this")
	}
}

// playFault opens the page over a good link, breaks something for a while, mends it, and
// returns how often the screen said good.
func playFault(t *testing.T, b *pagetest.Browser, rng *rand.Rand, what string) (good int, kind string) {
	var tr truth
	var flips sync.Mutex
	is := true
	truthIs := func() bool { flips.Lock(); defer flips.Unlock(); return is }
	f := stationFor(t, &tr, rng.IntN(5) > 0, truthIs)
	k := newLink(t, address(f))
	b.Go(k.url())
	pause := func(least, most float64) {
		time.Sleep(time.Duration((least + (most-least)*rng.Float64()) * float64(time.Second)))
	}
	pause(1, 2.5)
	kinds := []string{"lag", "cut", "freeze", "reorder", "restart", "slow"}
	kind = kinds[rng.IntN(len(kinds))]
	// Half of the time the truth turns, or the station falls silent, while the link is bad.
	turn := func() {
		flips.Lock()
		is = rng.IntN(2) == 0
		flips.Unlock()
		if rng.IntN(3) == 0 {
			f.still.Store(true)
		}
	}
	seconds := func(least, most float64) time.Duration {
		return time.Duration((least + (most-least)*rng.Float64()) * float64(time.Second))
	}
	switch kind {
	case "lag":
		k.set(fault{Lag: seconds(0.2, 5)})
	case "cut":
		k.set(fault{Down: true})
	case "freeze":
		k.set(fault{Frozen: true})
	case "reorder":
		k.set(fault{Jitter: seconds(0.5, 5), Lag: seconds(0, 1)})
		k.lead(address(f))
	case "slow":
		k.set(fault{Rate: 300 + rng.IntN(3000), Lag: seconds(0, 1)})
	case "restart":
		other := stationFor(t, &tr, rng.IntN(2) == 0, truthIs)
		if rng.IntN(2) == 0 {
			k.set(fault{Lag: seconds(0, 2)})
		}
		k.lead(address(other))
	}
	turn()
	pause(1, 5)
	turn()
	k.set(fault{})
	pause(1, 3)
	good = tr.check(t, pagetest.Eval[[]string](b, `screenSays`), what+", "+kind)
	b.Go("about:blank")
	return good, kind
}

// TestLagEachWay: four seconds each way, and nothing is shown; a third of a second, and
// it is.
func TestLagEachWay(t *testing.T) {
	t.Parallel()
	var tr truth
	f := stationFor(t, &tr, true, nil)
	k := newLink(t, address(f))
	b := open(t)
	b.Before(watchScreen)
	k.set(fault{Lag: 300 * time.Millisecond})
	b.Go(k.url())
	b.Wait(alive, patience)
	k.set(fault{Lag: 4 * time.Second})
	time.Sleep(10 * time.Second)
	notes := pagetest.Eval[[]string](b, `screenSays`)
	if tr.check(t, notes, "lag") == 0 {
		t.Error("over a third of a second each way nothing is shown")
	}
	if last := notes[len(notes)-1]; !strings.HasSuffix(last, " nothing") {
		t.Errorf("over 4 s each way: %s", last)
	}
	b.Wait(`document.getElementById("why").textContent.includes("older than 3 s")`, patience)
}

// TestQueuedWordsAreOld: a black hole swallows for a while what a station said before it
// died; when it lets go, nothing of it is shown.
func TestQueuedWordsAreOld(t *testing.T) {
	t.Parallel()
	var tr truth
	f := stationFor(t, &tr, true, nil)
	k := newLink(t, address(f))
	b := open(t)
	b.Before(watchScreen)
	b.Go(k.url())
	b.Wait(alive, patience)
	k.set(fault{Frozen: true})
	time.Sleep(4 * time.Second)
	f.still.Store(true)
	time.Sleep(3500 * time.Millisecond)
	k.set(fault{})
	time.Sleep(2 * time.Second)
	tr.check(t, pagetest.Eval[[]string](b, `screenSays`), "a black hole")
	// The same with a tab that the browser froze.
	f.still.Store(false)
	b.Wait(alive, patience)
	b.Freeze(true)
	time.Sleep(2 * time.Second)
	f.still.Store(true)
	time.Sleep(3500 * time.Millisecond)
	b.Freeze(false)
	time.Sleep(time.Second)
	if tr.check(t, pagetest.Eval[[]string](b, `screenSays`), "a frozen tab") == 0 {
		t.Error("nothing was ever shown")
	}
}
