// Package config reads noonmark's configuration file and decides where its files
// live. Text and environment come in, plain values go out; nothing is opened but
// the file itself. Every key is optional, an unknown one is an error, and each
// error names file, line and key and says what would be right.
package config

import (
	_ "embed" // the example is part of the program
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"sort"
	"strings"

	"github.com/BurntSushi/toml"

	"noonmark/status/safefile"
)

// Path is where the configuration is looked for.
const Path = "/etc/noonmark/noonmark.toml"

//go:embed example.toml
var example string

// Example returns the commented example file, which sets every key to its default.
func Example() string { return example }

// Config is the whole configuration. Names and units are those of the file.
type Config struct {
	Receiver struct {
		Device   string // "auto", an absolute path, tcp://host:port, udp://[host]:port
		Baud     int    // 0 = find it
		PPS      string // "auto", "none", or an absolute path
		PPSEdge  string // "assert", "clear", or "" = learn it
		LatencyS float64
		ShareTCP string // "" = no
		ShareUDP string // "" = no
		SharePTY string // "" = no
	}
	RTC struct {
		Device string // "auto", "none", or an absolute path
	}
	Network struct {
		Servers []string // host or host:port
	}
	Clock struct {
		Steer     bool
		StepOverS float64
		Vouch     bool // tell the kernel when the clock is right
		// Thermometer is "auto", "none", or the file of one.
		Thermometer string
	}
	Modes struct {
		InUse      string // "" = none named
		Show       []string
		ToleranceS map[string]float64 // by mode, where it is not the table's
	}
	Report struct {
		Place string // distance and bearing to it stand in the report; "" = none
		Name  string // of the place
	}
	Publish struct {
		HTTP          string // "" = no page
		TimeService   string // "" = no
		LocatorLength int    // 2, 4, 6, 8 or 10
	}
	Record Record
	Events Events
	MQTT   MQTT
	// Withdrawn is what to say of keys in the file that set nothing any more.
	Withdrawn []string
}

// A ModeCheck returns the proper spelling of a mode's name, or an error that says
// which modes there are.
type ModeCheck func(name string) (string, error)

// Default returns the configuration of an empty file.
func Default() Config {
	var c Config
	c.Receiver.Device = "auto"
	c.Receiver.PPS = "auto"
	c.RTC.Device = "auto"
	c.Clock.StepOverS = 0.25
	c.Clock.Vouch = true
	c.Clock.Thermometer = "auto"
	c.Modes.Show = []string{"FT8", "FT4", "JS8-15", "WSPR"}
	c.Publish.HTTP = "127.0.0.1:8173"
	c.Publish.LocatorLength = 10
	c.Record = Record{Folder: "memory", MostMB: 8}
	c.Events.LimitS = 30
	c.MQTT.EveryS = 60
	return c
}

// maxFile is the largest settings file, bytes.
const maxFile = 1 << 20

// Load reads the file at path, and after it those of the folder path + ".d" whose names
// end in ".toml", in the order of their names: a later one overrides an earlier one.
// When none of them is there the error wraps os.ErrNotExist and the configuration is
// the default one.
func Load(path string, mode ModeCheck) (Config, error) {
	extra, err := filepath.Glob(filepath.Join(escaped(path+".d"), "*.toml")) // sorted
	if err != nil {
		return Default(), fmt.Errorf("config: %w", err)
	}
	c := Default()
	var faults []error
	for i, name := range append([]string{path}, extra...) {
		b, err := safefile.ReadLinked(name, maxFile)
		if i == 0 && len(extra) > 0 && errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return Default(), fmt.Errorf("config: %w", err)
		}
		if err := c.read(name, string(b), mode); err != nil {
			faults = append(faults, err)
		}
	}
	if len(faults) > 0 {
		return Default(), errors.Join(faults...)
	}
	return c, nil
}

// escaped takes the meaning of a pattern's characters from a path.
func escaped(path string) string {
	return strings.NewReplacer(`*`, `\*`, `?`, `\?`, `[`, `\[`, `\`, `\\`).Replace(path)
}

// Parse reads text, which came from the file called name. All faults found are in
// the error, a line each, in the order of the file.
func Parse(name, text string, mode ModeCheck) (Config, error) {
	c := Default()
	if err := c.read(name, text, mode); err != nil {
		return Default(), err
	}
	return c, nil
}

// read overrides what text sets.
func (c *Config) read(name, text string, mode ModeCheck) error {
	var root map[string]toml.Primitive
	md, err := toml.Decode(text, &root)
	if err != nil {
		var pe toml.ParseError
		if errors.As(err, &pe) {
			return fault{name, pe.Position.Line, pe.Message}
		}
		return fmt.Errorf("config: %s: %w", name, err)
	}
	p := parser{name: name, md: &md, keys: c.keys(mode)}
	for table, prim := range root {
		p.table(table, prim)
	}
	sort.Slice(p.faults, func(i, j int) bool {
		a, b := p.faults[i], p.faults[j]
		return a.line < b.line || a.line == b.line && a.text < b.text
	})
	c.Withdrawn = append(c.Withdrawn, p.withdrawn...)
	errs := make([]error, len(p.faults))
	for i, f := range p.faults {
		errs[i] = f
	}
	return errors.Join(errs...)
}

// Set gives one key, such as "receiver.baud", a value, with the checks of the
// file: for flags, which override it. The value is a string, bool, int64,
// float64, or []any of strings.
func (c *Config) Set(key string, value any, mode ModeCheck) error {
	set, ok := c.keys(mode)[key]
	if !ok {
		return fmt.Errorf("config: unknown key %q", key)
	}
	if err := set(value); err != nil {
		return fmt.Errorf("config: %s %w", key, err)
	}
	return nil
}

// A fault is one thing wrong with a file.
type fault struct {
	file string
	line int // 0 = not known
	text string
}

func (f fault) Error() string {
	if f.line == 0 {
		return fmt.Sprintf("config: %s: %s", f.file, f.text)
	}
	return fmt.Sprintf("config: %s:%d: %s", f.file, f.line, f.text)
}

// A parser walks the two levels of a file.
type parser struct {
	name      string
	md        *toml.MetaData
	keys      map[string]setter
	faults    []fault
	withdrawn []string
}

func (p *parser) table(table string, prim toml.Primitive) {
	if !hasTable(p.keys, table) {
		p.fault(prim, p.unknown(table))
		return
	}
	// The TOML package takes a value where a table is wanted for an empty table.
	var v any
	var leaves map[string]toml.Primitive
	err := p.md.PrimitiveDecode(prim, &v)
	if _, ok := v.(map[string]any); err == nil && ok {
		err = p.md.PrimitiveDecode(prim, &leaves)
	}
	if err != nil || leaves == nil {
		p.fault(prim, fmt.Sprintf("%s is a group of keys: write [%s] on a line of its own, its keys below", table, table))
		return
	}
	for leaf, prim := range leaves {
		key := table + "." + leaf
		set, ok := p.keys[key]
		if was, old := withdrawn[key]; old {
			p.withdrawn = append(p.withdrawn, fault{p.name, lineOf(p.md, prim), key + " " + was}.Error())
			continue
		}
		if !ok {
			p.fault(prim, p.unknown(key))
			continue
		}
		var v any
		err := p.md.PrimitiveDecode(prim, &v)
		if err == nil {
			err = set(v)
		}
		if err != nil {
			p.fault(prim, key+" "+err.Error())
		}
	}
}

func (p *parser) fault(prim toml.Primitive, text string) {
	p.faults = append(p.faults, fault{p.name, lineOf(p.md, prim), text})
}

// unknown words the fault, with the nearest key there is.
func (p *parser) unknown(key string) string {
	text := fmt.Sprintf("unknown key %q", key)
	if near := nearest(key, p.keys); near != "" {
		text += fmt.Sprintf("; did you mean %q?", near)
	}
	return text
}

func hasTable(keys map[string]setter, table string) bool {
	for k := range keys {
		if strings.HasPrefix(k, table+".") {
			return true
		}
	}
	return false
}

// lineOf finds the line prim's key stands on. The TOML package gives positions
// with its own errors only, so one is provoked.
func lineOf(md *toml.MetaData, prim toml.Primitive) int {
	var pe toml.ParseError
	if errors.As(md.PrimitiveDecode(prim, &refuser{}), &pe) {
		return pe.Position.Line
	}
	return 0
}

// A refuser refuses every value.
type refuser struct{}

var errRefused = errors.New("refused")

// UnmarshalTOML refuses v.
func (*refuser) UnmarshalTOML(any) error { return errRefused }
