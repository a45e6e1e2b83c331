package port

import (
	"strings"
	"testing"
	"time"

	"noonmark/clockcheck/timescale"
)

// TestPrompt feeds two ptys the same bursts of 0.4 s, one read promptly, one at
// rest. The prompt one has each sentence soon after its last byte, the other has
// them late; both have all bytes, and both tell of the same bursts.
func TestPrompt(t *testing.T) {
	if testing.Short() {
		t.Skip("takes 7 s")
	}
	calmMaster, calmPath := newPTY(t)
	promptMaster, promptPath := newPTY(t)
	calm := start(t, Config{Device: calmPath}, nil)
	prompt := start(t, Config{Device: promptPath, Prompt: true}, nil)
	for _, l := range []*log{calm, prompt} {
		l.until(t, "the opening", func() bool { return strings.Contains(l.kinds(), "opened") })
	}
	time.Sleep(300 * time.Millisecond)
	const bursts, perBurst = 6, 10
	var sent [bursts]timescale.Local // of the first byte
	var done []timescale.Local       // of each sentence's last byte
	one := sentence(rmcBody)
	for b := range bursts {
		begin := time.Now()
		sent[b] = raw()
		for i := range perBurst * 4 { // a quarter of a sentence each 10 ms
			from, to := len(one)*(i%4)/4, len(one)*(i%4+1)/4
			write(t, calmMaster, one[from:to])
			write(t, promptMaster, one[from:to])
			if to == len(one) {
				done = append(done, raw())
			}
			time.Sleep(time.Until(begin.Add(time.Duration(i+1) * 10 * time.Millisecond)))
		}
		time.Sleep(time.Until(begin.Add(time.Second)))
	}
	all := strings.Repeat(one, bursts*perBurst)
	for name, l := range map[string]*log{"calm": calm, "prompt": prompt} {
		l.until(t, "all bytes", func() bool { return len(l.data()) >= len(all) })
		if l.data() != all {
			t.Errorf("%s: other bytes than were sent", name)
		}
		var first []Event
		for _, ev := range l.events() {
			if ev.First {
				first = append(first, ev)
			}
		}
		const known = 3 // bursts until the rhythm is known, on a busy machine
		for i, at := range sent[known:] {
			n := 0
			for _, ev := range first {
				if late := ev.At.Sub(at); late >= 0 && late < 900*time.Millisecond {
					n++
				}
			}
			if n != 1 {
				t.Errorf("%s: burst %d was told as %d; events:\n%v", name, known+i, n, l)
			}
		}
	}
	p, c := waits(prompt, done, len(one)), waits(calm, done, len(one))
	t.Logf("a sentence waits: prompt %v, else %v (means)", p, c)
	if p > c*2/3 { // a third and less on a machine with nothing else to do
		t.Errorf("prompt: a sentence waits %v on average, otherwise %v", p, c)
	}
}

// waits is how long a sentence waits on average from its last byte to the Data
// that completes it.
func waits(l *log, done []timescale.Local, size int) time.Duration {
	var sum time.Duration
	got, n := 0, 0
	for _, ev := range l.events() {
		for got += len(ev.Data); n < len(done) && got >= (n+1)*size; n++ {
			sum += ev.At.Sub(done[n])
		}
	}
	return sum / time.Duration(len(done))
}
