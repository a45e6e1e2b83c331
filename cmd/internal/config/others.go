package config

import (
	"fmt"
	"net/url"
	"path/filepath"
	"strings"
	"unicode"
)

// Events are the commands that noonmark follow runs: a program's path and its
// arguments; empty = none.
type Events struct {
	VerdictLost     []string
	VerdictRegained []string
	LocatorChanged  []string
	TrustChanged    []string
	BatteryLow      []string
	LimitS          float64 // longest time a command may take
}

// Record is where what reaches the station is written down.
type Record struct {
	Folder string // "memory" = beside the status, "none", or a folder of its own
	MostMB int    // of all files together
}

// MQTT is the broker that noonmark follow publishes the status to.
type MQTT struct {
	Broker       string // mqtt://host:port or mqtts://host:port; "" = none
	Station      string // "" = this computer's name
	Position     bool   // publish the place too
	EveryS       float64
	Username     string
	PasswordFile string // "" = no password
	CAFile       string // "" = the system's certificates
}

// others are the keys of noonmark follow.
func (c *Config) others() map[string]setter {
	return map[string]setter{
		"events.verdict_lost":     command(&c.Events.VerdictLost),
		"events.verdict_regained": command(&c.Events.VerdictRegained),
		"events.locator_changed":  command(&c.Events.LocatorChanged),
		"events.trust_changed":    command(&c.Events.TrustChanged),
		"events.battery_low":      command(&c.Events.BatteryLow),
		"events.limit_s":          number(&c.Events.LimitS, 1, 3600, "s"),
		"mqtt.broker":             text(&c.MQTT.Broker, broker),
		"mqtt.station":            text(&c.MQTT.Station, topicLevel),
		"mqtt.position":           boolean(&c.MQTT.Position),
		"mqtt.every_s":            number(&c.MQTT.EveryS, 1, 86400, "s"),
		"mqtt.username":           text(&c.MQTT.Username, anything),
		"mqtt.password_file":      text(&c.MQTT.PasswordFile, pathOr("")),
		"mqtt.ca_file":            text(&c.MQTT.CAFile, pathOr("")),
	}
}

// command takes a program's absolute path and its arguments, in a list.
func command(dst *[]string) setter {
	return func(v any) error {
		l, ok := v.([]any)
		if !ok {
			return wrongType(`a list of the program's path and its arguments (["/usr/bin/…", "…"])`, v)
		}
		out := make([]string, len(l))
		for i, e := range l {
			s, ok := e.(string)
			switch {
			case !ok:
				return fmt.Errorf("item %d %w", i+1, wrongType(`text in quotes ("…")`, e))
			case strings.ContainsRune(s, 0):
				return fmt.Errorf("item %d must not hold the character 0", i+1)
			case i == 0 && !filepath.IsAbs(s):
				return fmt.Errorf("must begin with the program's path, which begins with /, but begins with %q", s)
			}
			out[i] = s
		}
		*dst = out
		return nil
	}
}

func broker(s string) (string, error) {
	if s == "" {
		return "", nil
	}
	u, err := url.Parse(s)
	if err == nil && (u.Scheme == "mqtt" || u.Scheme == "mqtts") && u.Hostname() != "" && u.User == nil &&
		strings.Trim(u.Path, "/") == "" && u.RawQuery == "" && u.Fragment == "" {
		if _, err := address(u.Host); err == nil {
			return u.Scheme + "://" + u.Host, nil
		}
	}
	return "", fmt.Errorf("must be mqtt://host:port, mqtts://host:port (encrypted), or \"\" for none, but is %q", s)
}

// topicLevel takes what may be one level of a topic (MQTT 5.0, 4.7).
func topicLevel(s string) (string, error) {
	const longest = 64
	bad := func(r rune) bool { return strings.ContainsRune("/+#$", r) || !unicode.IsPrint(r) }
	if len(s) > longest || strings.ContainsFunc(s, bad) {
		return "", fmt.Errorf("must be a name of at most %d letters and digits, without / + # $, but is %q", longest, s)
	}
	return s, nil
}

func anything(s string) (string, error) { return s, nil }
