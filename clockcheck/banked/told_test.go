package banked

import (
	"testing"
	"time"

	"noonmark/clockcheck"
	"noonmark/clockcheck/timescale"
)

// hears has the judge's events hear of a receiver's trust at each second, and returns when and
// what was told.
func hears(j *Judge, from timescale.Local, each ...clockcheck.Trust) (told []clockcheck.Event) {
	for k, t := range each {
		j.trusted(from.Add(time.Duration(k)*time.Second), []clockcheck.Reference{{Name: "receiver", Trust: t}})
		told = j.Events(told)
	}
	return told
}

// of is a trust for so many seconds.
func of(t clockcheck.Trust, n int) (each []clockcheck.Trust) {
	for range n {
		each = append(each, t)
	}
	return each
}

// A restless receiver, doubted and trusted again every few seconds, is told of once each way
// and once more as doubted; that it is trusted when the evidence is settled. The worse is told at
// once, and so is the better of one that is not restless.
func TestRestlessTrustIsToldSeldom(t *testing.T) {
	j := New(clockcheck.Config{}, clockcheck.Learned{})
	now := timescale.Local(5e9)
	hear := func(each []clockcheck.Trust) []clockcheck.Event {
		told := hears(j, now, each...)
		now = now.Add(time.Duration(len(each)) * time.Second)
		return told
	}
	one := func(what string, each []clockcheck.Trust, text string, after time.Duration) {
		t.Helper()
		began := now
		if told := hear(each); len(told) != 1 || told[0].Text != text || told[0].At.Sub(began) != after {
			t.Errorf("%s: told %+v from %v on, want one, %q after %v", what, told, began, text, after)
		}
	}
	hear(of(clockcheck.Warming, 60))
	one("first", of(clockcheck.Trusted, 600), "Receiver trusted. ", 0)
	one("a doubt", of(clockcheck.Doubted, 11), "Receiver doubted. ", 0)
	one("it ends", of(clockcheck.Trusted, 11), "Receiver trusted. ", 0)
	one("again", of(clockcheck.Doubted, 11), "Receiver doubted. ", 0)
	for range 50 {
		if told := hear(append(of(clockcheck.Trusted, 11), of(clockcheck.Doubted, 23)...)); len(told) > 0 {
			t.Fatalf("told again: %+v", told)
		}
	}
	one("worse", of(clockcheck.Faulty, 30), "Receiver faulty. ", 0)
	one("settled", of(clockcheck.Trusted, 600), "Receiver trusted. ", settled)
	one("a doubt later", of(clockcheck.Doubted, 600), "Receiver doubted. ", 0)
	one("that ends", of(clockcheck.Trusted, 600), "Receiver trusted. ", 0)
}

// Of others than the receiver it is told whether they are doubted, from the first word on.
func TestTrustOfOthers(t *testing.T) {
	j := New(clockcheck.Config{}, clockcheck.Learned{})
	say := func(at int, trust clockcheck.Trust) []clockcheck.Event {
		j.trusted(timescale.Local(at)*timescale.Local(time.Second), []clockcheck.Reference{{Name: "receiver", Trust: clockcheck.Silent}, {Name: "192.0.2.1", Trust: trust}})
		return j.Events(nil)
	}
	for i, tt := range []struct {
		trust clockcheck.Trust
		told  int
	}{{clockcheck.Doubted, 1}, {clockcheck.Doubted, 0}, {clockcheck.Trusted, 1}, {clockcheck.Silent, 0}, {clockcheck.Trusted, 0}, {clockcheck.Faulty, 1}} {
		if got := say(i+1, tt.trust); len(got) != tt.told {
			t.Errorf("%d, %s: told %+v", i, tt.trust, got)
		}
	}
}
