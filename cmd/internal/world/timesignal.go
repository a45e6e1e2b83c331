package world

import (
	"math"
	"time"

	"noonmark/clockcheck"
)

// TimeSignal is a time-signal station that the station's radio hears.
type TimeSignal struct {
	Name   string        // "" = none
	Delay  time.Duration // of the way and the radio, beyond what the program takes off
	Modulo time.Duration // what it tells: a second, a minute; 0 = the date, too
}

const (
	signalFirst = 75 * time.Second // so much sound holds a minute's begin and what is around it
	signalEach  = time.Minute
	// How well the program knows what it hears, s: the second, the radio's filter, the way.
	// From the program's description (cmd/internal/hear), for a world has its own numbers.
	signalSecond, signalRadio, signalWay = 0.015, 0.030, 0.010
	// signalSpread is the true scatter of a second as it is found: 5 ms RMS is asked of it.
	signalSpread = 0.005
)

// listenForSignal lets the ear look for the time signal, when a minute is full.
func (w *World) listenForSignal() {
	e := &w.ear
	if e.signal.Name == "" || w.local < e.minute {
		return
	}
	e.minute = w.local.Add(signalEach)
	off := w.system/1e9 + e.signal.Delay.Seconds() + signalSpread*e.rng.NormFloat64()
	if m := e.signal.Modulo.Seconds(); m > 0 {
		off = math.Remainder(off, m)
	}
	common := signalRadio + signalWay + tieBound
	system := w.utc.Add(time.Duration(w.system))
	w.Station.Air(clockcheck.Air{Source: e.signal.Name, At: w.local, UTC: system.Add(-time.Duration(off * 1e9)), Modulo: e.signal.Modulo,
		Bound: time.Duration((signalSecond + common) * 1e9), Common: time.Duration(common * 1e9), Signals: 1})
}
