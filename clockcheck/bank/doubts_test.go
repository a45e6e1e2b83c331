package bank

import (
	"math"
	"testing"
)

// A run ended with a receiver and servers that contradicted each other: one of the two is false. In the next boot who
// takes the receiver to be false has no reason to doubt the servers, and the other way round. Where both were
// doubted together, both are.
func TestOneOfTwoIsFalseNotBoth(t *testing.T) {
	servers, receiver := SetOf(Server), SetOf(Receiver)
	one := []Doubted{{servers, 0.2}, {receiver, 1.7}}
	both := []Doubted{{servers | receiver, 0.5}, {receiver, 2}}
	for _, c := range []struct {
		name   string
		before []Doubted
		out    Set
		ask    Source
		want   float64 // nats, NaN: it was not doubted so
	}{
		{"nobody is out", one, 0, Server + 1, 0.2},
		{"nobody is out", one, 0, Receiver, 1.7},
		{"the receiver is out", one, SetOf(Receiver, Pulse), Server, math.NaN()},
		{"a server is out", one, SetOf(Server + 2), Receiver, math.NaN()},
		{"another server is out", one, SetOf(Server + 2), Server, 0.2},
		{"a mark is out", one, SetOf(Ear), Server, 0.2},
		{"both were doubted together", both, SetOf(Receiver), Server, 0.5 + math.Log(math.Exp(-0.5)+math.Exp(-2))},
		{"and the receiver by all", both, SetOf(Server), Receiver, 0},
		{"of a mark nobody said anything", both, 0, Ear, math.NaN()},
	} {
		b := newBank()
		b.DoubtAgain(c.before)
		got, ok := b.doubtedBefore(&Track{Out: c.out}, c.ask)
		if ok == math.IsNaN(c.want) || ok && math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s, source %d: %.3f nats, %v; want %.3f", c.name, c.ask, got, ok, c.want)
		}
	}
}
