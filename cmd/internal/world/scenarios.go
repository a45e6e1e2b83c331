package world

import (
	"fmt"
	"strings"
	"time"

	"noonmark/gnss/gnsstest"
	"noonmark/rtc/rtctest"
)

// camp is where the built-in stories play: a survey camp on a salt flat, FG69.
var camp = gnsstest.Place{LatDeg: -20.1338, LonDeg: -67.4891, AltM: 3656}

// tcxo is a temperature-compensated hardware clock.
var tcxo = rtctest.Model{PPM: 0.6, WanderPPM: 0.05, FirstTick: time.Second, HasFlags: true}

func cold(m gnsstest.Model) gnsstest.Model {
	m.Warm = false
	m.BeforeFix = gnsstest.NoTime
	return m
}

var open = gnsstest.Scene{Satellites: 11}

// byEar is a mark of eight taps: 40 ms late, and good to a quarter of a second.
var byEar = Mark{Error: 40 * time.Millisecond, Bound: 250 * time.Millisecond}

// Scenarios are the built-in stories; the first is the usual one.
func Scenarios() []Scenario {
	missing := cold(gnsstest.Typical())
	missing.LeapMissing = 2
	return []Scenario{
		{
			Name: "camp", Length: 12 * time.Hour, Summary: "boot, fix, a night in the tent, out again",
			Receiver: cold(gnsstest.Typical()), RTC: tcxo, RTCError: 140 * time.Millisecond, OffFor: 30 * time.Hour, Learned: true,
			Osc: Oscillator{PPM: 9, WanderPPM: 0.3}, SystemError: 310 * time.Millisecond, Place: camp,
			Story: []Chapter{
				{From: 0, Text: "The computer boots; the receiver starts cold.", Scene: open},
				{From: 40 * time.Minute, Text: "The receiver is carried into the tent.", Scene: gnsstest.Scene{Satellites: 1}},
				{From: 11 * time.Hour, Text: "It is put out again.", Scene: open},
				{From: 11*time.Hour + 20*time.Minute, Text: "The operator sets the system clock by what noonmark says.", Scene: open, Step: -670 * time.Millisecond},
			},
		},
		{
			Name: "first-night", Length: 40 * time.Minute, Summary: "a new station: nothing learned, no network, leap data missing at first",
			Receiver: missing, RTC: rtctest.Model{PPM: 14, FirstTick: time.Second}, RTCError: 47 * time.Second, OffFor: 24 * time.Hour,
			Osc: Oscillator{PPM: -17, WanderPPM: 0.3}, SystemError: 47 * time.Second, Place: camp,
			Story: []Chapter{
				{From: 0, Text: "Everything is new; the receiver starts cold.", Scene: open},
				{From: 3 * time.Minute, Text: "The operator marks a time signal by ear: noonmark mark.", Scene: open, Mark: &byEar},
				{From: 6 * time.Minute, Text: "The operator sets the clock by what noonmark says.", Scene: open, Step: -47 * time.Second},
			},
		},
		{
			Name: "no-receiver", Length: 30 * time.Minute, Summary: "the receiver stayed at home: hardware clock only, after three weeks without power",
			NoReceiver: true, RTC: tcxo, RTCError: -90 * time.Millisecond, OffFor: 21 * 24 * time.Hour, Learned: true,
			Osc: Oscillator{PPM: 9, WanderPPM: 0.3}, SystemError: -250 * time.Millisecond, Place: camp,
			Story: []Chapter{
				{From: 0, Text: "Nothing but the hardware clock tells the time."},
				{From: 15 * time.Minute, Text: "The operator marks a time signal by ear: noonmark mark.", Mark: &byEar},
			},
		},
		{
			Name: "liar", Length: 20 * time.Minute, Summary: "after ten minutes the receiver is 3 s off and says nothing of it",
			Receiver: gnsstest.Typical(), RTC: tcxo, RTCError: 140 * time.Millisecond, OffFor: 3 * time.Hour, Learned: true,
			Osc: Oscillator{PPM: 9, WanderPPM: 0.3}, SystemError: 120 * time.Millisecond, Place: camp,
			Story: []Chapter{
				{From: 0, Text: "All is well.", Scene: open},
				{From: 10 * time.Minute, Text: "A false signal takes the receiver 3 s away.", Scene: gnsstest.Scene{Satellites: 11, FalseTime: 3 * time.Second}},
				{From: 13 * time.Minute, Text: "The operator marks a time signal by ear: noonmark mark.", Scene: gnsstest.Scene{Satellites: 11, FalseTime: 3 * time.Second}, Mark: &byEar},
				{From: 16 * time.Minute, Text: "The false signal is gone.", Scene: open},
			},
		},
		{
			Name: "stepped", Length: 6 * time.Minute, Summary: "another program moves the system clock by 2 s",
			Receiver: gnsstest.Typical(), RTC: tcxo, RTCError: 140 * time.Millisecond, OffFor: 3 * time.Hour, Learned: true,
			Osc: Oscillator{PPM: 9, WanderPPM: 0.3}, SystemError: 120 * time.Millisecond, Place: camp,
			Story: []Chapter{
				{From: 0, Text: "All is well.", Scene: open},
				{From: 3 * time.Minute, Text: "Another program moves the clock by 2 s.", Scene: open, Step: 2 * time.Second},
				{From: 4*time.Minute + 30*time.Second, Text: "The operator stops that program, and sets the clock.", Scene: open, Step: -2 * time.Second},
			},
		},
	}
}

// Named finds a built-in story; the error lists what there is.
func Named(name string) (Scenario, error) {
	var names []string
	for _, s := range Scenarios() {
		if strings.EqualFold(s.Name, name) {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Scenario{}, fmt.Errorf("demo: no scenario is called %q; there are %s", name, strings.Join(names, ", "))
}
