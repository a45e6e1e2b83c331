package lab

import (
	"fmt"
	"time"
)

// Class is a fault that no station could see in time, with its number in
// testdata/scenarios/README.md. A window of a night is declared from the world's truth,
// never from what the judge made of it.
type Class struct {
	Number  int
	What    string
	Large   string // how large the error becomes
	Reveals string // what would show it
}

// Classes are all that is declared.
var Classes = []Class{
	{1, "a lone receiver drags off, or its latency ramps, by less than 200 ppm; or by any rate if it is a second late by design", "without end", "a server, a mark, the air, a compared hardware clock after hours"},
	{2, "a false signal steps back by nearly whole seconds while leap-second data may be missing", "1 to 18 s", "a compared hardware clock, a server, a mark"},
	{3, "a receiver lies from its first fix on, or its line is behind from the first word on, and nothing that was compared before is left beside it", "any", "a server, a mark, the air"},
	{4, "most servers heard answer out of one lying clock, and nobody else is there, or what is there leaves room for so small a lie", "any; beside a receiver whose latency nobody proved 1.2 s, over a network 10 s", "a receiver's fix, a compared hardware clock; of a small lie a mark, the air, a latency proved before"},
	{5, "somebody sets the hardware clock while the power is off, or in the ten minutes before and it is not read again, and nobody else is there at boot", "any", "a receiver's fix, a server, a mark"},
	{6, "the hardware clock stands still in the cold while the power is off, and does not tell", "the time it stood", "a receiver's fix, a server, a mark"},
	{7, "the crystal leaps for good by more than 15 ppm in holdover, with neither a compensated hardware clock nor a server (15 ppm is in the guard)", "18 ms an hour for each 5 ppm above", "any reading"},
	{8, "an operator's mark, or a borrowed clock, is wrong, and nobody else is there (at a start, until the receiver's first fix), or what is there leaves room for so small an error; or a whole band is, beside a receiver whose latency nobody proved", "as wrong as the mark; beside a receiver whose latency nobody proved 1.2 s; a band 1.2 s", "a receiver's fix, a server; of a small error a second witness: a server, the air, a latency proved before"},
	{9, "a lone receiver names the second to come", "up to 1 s", "a server, a mark, a compared hardware clock"},
}

// Declared is a part of a night that belongs to a class; 0 = the file says why.
type Declared struct {
	window
	Class int
}

func (d Declared) has(t time.Duration) bool { return d.to == 0 && t >= d.from || d.window.has(t) }

// declare takes a part of the night out, as a class of the table.
func (c *Case) declare(class int, from, to time.Duration) {
	c.MayMiss = append(c.MayMiss, Declared{window{from, to}, class})
}

// mayMissThe reads: may miss the truth WHEN, class N.
func (c *Case) mayMissThe(l *line) error {
	w, err := c.when(l)
	if err != nil {
		return err
	}
	class := 0
	if l.is(", class") {
		v, err := l.number("the class", "")
		if err != nil {
			return err
		}
		if class = int(v); class < 1 || class > len(Classes) {
			return fmt.Errorf("there is no class %d: 1 to %d", class, len(Classes))
		}
	}
	c.declare(class, w.from, w.to)
	return nil
}
