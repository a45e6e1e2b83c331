package lab

import (
	"fmt"
	"io"
	"math"
	"runtime"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
)

// Job is a night to play.
type Job struct {
	Case *Case
	Seed uint64
}

// heap is how much what the nights threw away may outweigh what they hold, %: a night holds a few
// MB, and clearing them away each time those have doubled takes an eighth of the time.
const heap = 800

// PlayAll plays nights on all cores and returns them in the order of the jobs.
func PlayAll(jobs []Job, without Forbidden) []*Night {
	defer debug.SetGCPercent(debug.SetGCPercent(heap))
	nights := make([]*Night, len(jobs))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(jobs)) {
		wg.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(jobs)); i = next.Add(1) - 1 {
				nights[i] = jobs[i].Case.Play(jobs[i].Seed, without, nil)
			}
		})
	}
	wg.Wait()
	return nights
}

// Seeds are the jobs of each case with seeds 1 to n.
func Seeds(cases []*Case, n uint64) (jobs []Job) {
	for _, c := range cases {
		for s := range n {
			jobs = append(jobs, Job{c, s + 1})
		}
	}
	return jobs
}

// Row sums the nights of one scenario up.
type Row struct {
	Scenario string  `json:"scenario"`
	Nights   int     `json:"nights"`
	Good     int     `json:"good"`
	First    float64 `json:"median_first_within_s"` // of the first mode; −1 = in half of the nights never
	Refusal
	Missed   int     `json:"guard_missed_s"`
	RMS      float64 `json:"rms_s"`
	Max      float64 `json:"max_s"`
	Steered  float64 `json:"steered_rms_s"`
	SteerMax float64 `json:"steered_max_s"`
	Steps    float64 `json:"steps_per_night"`
	RTCSets  float64 `json:"rtc_sets_per_night"`
	Writes   float64 `json:"state_writes_per_night"`
	Promises int     `json:"promises"`
	Kept     float64 `json:"promise_kept"`
	Breaks   []Break `json:"breaks,omitempty"`
}

// Rows sums nights up by scenario, in the order in which they first come.
func Rows(nights []*Night) []Row {
	var rows []Row
	firsts := map[string][]float64{}
	for _, n := range nights {
		i := slices.IndexFunc(rows, func(r Row) bool { return r.Scenario == n.Scenario })
		if i < 0 {
			i, rows = len(rows), append(rows, Row{Scenario: n.Scenario, Kept: 1})
		}
		rows[i].add(n)
		first := n.Modes[0].First
		if first < 0 {
			first = math.Inf(1)
		}
		firsts[n.Scenario] = append(firsts[n.Scenario], first)
	}
	for i := range rows {
		r := &rows[i]
		r.RMS = math.Sqrt(r.RMS / float64(r.Nights))
		r.Writes /= float64(r.Nights)
		r.Steps /= float64(r.Nights)
		r.RTCSets /= float64(r.Nights)
		r.Steered = math.Sqrt(r.Steered / float64(r.Nights))
		if r.First = quantile(firsts[r.Scenario], 0.5); math.IsInf(r.First, 1) {
			r.First = -1
		}
	}
	return rows
}

func (r *Row) add(n *Night) {
	r.Nights++
	if n.Good() {
		r.Good++
	}
	for _, m := range n.Modes {
		r.Refusal.add(m.Refusal)
	}
	r.Missed += n.Missed
	r.RMS += n.RMS * n.RMS
	r.Max = math.Max(r.Max, n.Max)
	r.Writes += float64(n.StateWrites)
	r.Promises += n.Promises
	r.Kept = math.Min(r.Kept, n.Kept)
	r.Steps += float64(n.Steps)
	r.RTCSets += float64(n.RTCSets)
	r.Steered += n.Steered * n.Steered
	r.SteerMax = math.Max(r.SteerMax, n.SteeredMax)
	for _, b := range n.Breaks {
		if len(r.Breaks) < 5 {
			b.Is = fmt.Sprintf("seed %d: %s", n.Seed, b.Is)
			r.Breaks = append(r.Breaks, b)
		}
	}
}

// quantile is the value below which a share q of v lies; v is sorted by it.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[min(int(q*float64(len(v))), len(v)-1)]
}

func share(part, whole int) string {
	if whole == 0 {
		return "-"
	}
	return fmt.Sprintf("%.2f", 100*float64(part)/float64(whole))
}

// Table prints rows. s = seconds, summed over nights and modes.
func Table(w io.Writer, rows []Row) {
	const head = "%-25s %6s %5s %7s %6s %7s %8s %8s %6s %6s %7s %6s %5s %5s %5s\n"
	const line = "%-25s %6d %5d %7s %6d %7d %8s %8s %6.1f %6.0f %7s %6.1f %5.1f %5.1f %5.2f\n"
	fmt.Fprintf(w, head, "scenario", "nights", "good", "first", "false", "missed", "needless", "unproved", "rms", "max", "steered", "steps", "RTC", "state", "good-")
	fmt.Fprintf(w, head, "", "", "", "with. s", "with.s", "guard s", "%", "need. %", "ms", "ms", "rms ms", "", "sets", "wr.", "for k.")
	for _, r := range rows {
		first, steered := "never", "-"
		if r.First >= 0 {
			first = fmt.Sprintf("%.0f", r.First)
		}
		if r.Steered > 0 {
			steered = fmt.Sprintf("%.1f", 1e3*r.Steered)
		}
		fmt.Fprintf(w, line, r.Scenario, r.Nights, r.Good, first, r.False, r.Missed, share(r.Needless, r.Proved), share(r.NeedlessUnpr, r.Unproved),
			1e3*r.RMS, 1e3*r.Max, steered, r.Steps, r.RTCSets, r.Writes, r.Kept)
	}
	if promises, kept := promised(rows); promises > 0 {
		fmt.Fprintf(w, "good-for: taken at its word %d times, as if every reading stopped: it lasted at least %.2f of what it said (%.1f asked)\n",
			promises, kept, promiseKept)
	}
	for _, r := range rows {
		for _, b := range r.Breaks {
			fmt.Fprintf(w, "%s: did not hold: %s\n    at %v: %s\n", r.Scenario, b.Expectation, b.At, b.Is)
		}
	}
}

// promised is how often good-for was taken at its word, and the least share of it that held.
func promised(rows []Row) (n int, kept float64) {
	kept = 1
	for _, r := range rows {
		n, kept = n+r.Promises, math.Min(kept, r.Kept)
	}
	return n, kept
}

// ModeTable prints, for each mode, what was needlessly refused.
func ModeTable(w io.Writer, nights []*Night) {
	sum := map[string]Mode{}
	var names []string
	for _, n := range nights {
		for _, m := range n.Modes {
			t, ok := sum[m.Mode]
			if !ok {
				names = append(names, m.Mode)
			}
			t.Within += m.Within
			t.Declared += m.Declared
			t.Refusal.add(m.Refusal)
			sum[m.Mode] = t
		}
	}
	fmt.Fprintf(w, "%-8s %9s %11s %13s %19s %21s %27s %21s\n", "mode", "within h", "false s", "declared s", "needless, proved %", "needless, unproved %", "needless, receiver, air %", "…, faded 1 h: %")
	for _, n := range names {
		t := sum[n]
		fmt.Fprintf(w, "%-8s %9.0f %11d %13d %19s %21s %27s %21s\n", n, float64(t.Within)/3600, t.False, t.Declared, share(t.Needless, t.Proved), share(t.NeedlessUnpr, t.Unproved), share(t.NeedlessEar, t.Ear), share(t.NeedlessFaded, t.Faded))
	}
}
