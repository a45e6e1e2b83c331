package manual

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
)

// settings is the page of the configuration file, made from the commented example.
func settings(r Release, example string) string {
	p := begin(r, "noonmark.toml", "5", "settings of noonmark")
	p.section("DESCRIPTION")
	p.paragraph("noonmark reads /etc/noonmark/noonmark.toml, or the file named by --config. Then it reads the files in the folder of the same name " +
		"with .d at its end (/etc/noonmark/noonmark.toml.d). Their names end in .toml; they are read in the order of their names. " +
		"A later file overrides an earlier one. They are written in TOML 1.0. " +
		"Every key may be left out; a key that noonmark does not know is an error that names its line. Flags override the file. " +
		"Changes hold from the next start: systemctl restart noonmark.")
	p.paragraph("The values below are the program's. The file that the Debian package writes at its first installation sets one: clock.steer is true there.")
	for _, g := range groupsOf(example) {
		if g.table != "" {
			p.section("[" + g.table + "]")
			continue
		}
		p.item(strings.Join(g.keys, "\n.TQ\n"), strings.Join(g.said, " "))
	}
	p.section("CAUTIONS")
	p.paragraph("Opening a serial port raises its control lines, and on many stations that keys the transmitter. Name in receiver.device only the receiver's own port, best by a name that stays.")
	p.see("noonmark(1)", "noonmark-run(1)", "noonmark-ports(1)")
	return p.String()
}

// A group is a heading, or keys that share what is said of them.
type group struct {
	table      string
	said, keys []string
}

func groupsOf(example string) (all []group) {
	var g group
	flush := func() {
		if len(g.keys) > 0 {
			all = append(all, g)
		}
		g = group{}
	}
	for line := range strings.Lines(example) {
		line = strings.TrimSpace(line)
		key, value, assigned := strings.Cut(line, " = ")
		switch said, ok := strings.CutPrefix(line, "#"); {
		case line == "":
			flush()
		case ok:
			if len(g.keys) > 0 {
				flush()
			}
			g.said = append(g.said, strings.TrimSpace(said))
		case strings.HasPrefix(line, "["):
			flush()
			all = append(all, group{table: strings.Trim(line, "[]")})
		case assigned:
			g.keys = append(g.keys, bold(key)+" = "+literal(value))
		}
	}
	flush()
	return all
}

// A field is one member of the status, by its path.
type field struct{ path, kind, means string }

// node is what is used of a JSON Schema.
type node struct {
	Ref        string          `json:"$ref"`
	Type       any             `json:"type"`
	Enum       []string        `json:"enum"`
	Const      string          `json:"const"`
	Means      string          `json:"description"`
	Required   []string        `json:"required"`
	Properties map[string]node `json:"properties"`
	Items      *node           `json:"items"`
}

// fieldsOf lists what a schema describes, in its order.
func fieldsOf(schema string) ([]field, error) {
	var top node
	if err := json.Unmarshal([]byte(schema), &top); err != nil {
		return nil, err
	}
	return top.fields(""), nil
}

func (n node) fields(prefix string) (all []field) {
	var optional []string
	for name := range n.Properties {
		if !slices.Contains(n.Required, name) {
			optional = append(optional, name)
		}
	}
	slices.Sort(optional)
	for _, name := range append(slices.Clone(n.Required), optional...) {
		m := n.Properties[name]
		kind := m.kind()
		if !slices.Contains(n.Required, name) {
			kind += ", may be missing"
		}
		all = append(all, field{prefix + name, kind, m.Means})
		all = append(all, m.fields(prefix+name+".")...)
		if m.Items != nil {
			all = append(all, m.Items.fields(prefix+name+"[].")...)
		}
	}
	return all
}

// refs are the schema's own names of kinds.
var refs = map[string]string{
	"number": "number or null", "width": "number from 0 on, or null", "count": "whole number from 0 on", "word": "word",
	"utc": "UTC, RFC 3339", "utcOrNull": "UTC, RFC 3339, or null",
}

func (n node) kind() string {
	switch t := n.Type.(type) {
	case string:
		return t
	case []any:
		var words []string
		for _, w := range t {
			words = append(words, fmt.Sprint(w))
		}
		return strings.Join(words, " or ")
	}
	switch {
	case n.Const != "":
		return `always "` + n.Const + `"`
	case len(n.Enum) > 0:
		return "one of " + strings.Join(n.Enum, ", ")
	}
	return refs[strings.TrimPrefix(n.Ref, "#/$defs/")]
}

// published is the page of the status file.
func published(r Release, fields []field) string {
	p := begin(r, "noonmark-status", "5", "what noonmark publishes")
	p.section("DESCRIPTION")
	p.paragraph("The service replaces /run/noonmark/status.json about once a second. A reader sees the old one or the new one, never a part. " +
		"It is one JSON object (RFC 8259), for everybody to read. null stands where a value is not known, never a made-up number. " +
		"The end of a name is its unit: _s seconds, _ppm parts per million, _m metres, _deg degrees. _utc is an instant in UTC. " +
		"Readers ignore members they do not know. The JSON Schema (2020-12) is /usr/share/doc/noonmark/status-v1.schema.json.")
	p.paragraph("A status must not be believed because it is there. Read written.boot_id and written.boottime_s, then the kernel's own, and compare them " +
		"(/proc/sys/kernel/random/boot_id, CLOCK_BOOTTIME). Another boot, or an age over written.stale_after_s, is no news. " +
		"The wall clock cannot tell, because it may have been set since. live must be true. noonmark-ready(1) does all that: scripts should ask it.")
	p.section("MEMBERS")
	for _, f := range fields {
		means := f.means
		if means != "" {
			means = strings.ToUpper(means[:1]) + means[1:] + "."
		}
		p.item(bold(f.path)+" ("+plain(f.kind)+")", means)
	}
	p.section("FILES")
	p.item(italic("/run/noonmark/status.json"), "The status of the system's service; of a user's own, $XDG_RUNTIME_DIR/noonmark/status.json.")
	p.item(italic("/run/noonmark/grid"), "The locator and a newline; not there while no place is known.")
	p.paragraph("There is no plain file for the verdict, because a plain file cannot expire.")
	p.section("CAUTIONS")
	p.paragraph(caution)
	p.see("noonmark(1)", "noonmark-ready(1)", "noonmark-why(1)")
	return p.String()
}
