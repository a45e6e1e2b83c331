package deps

import (
	"fmt"
	"go/ast"
	"path"
	"slices"
	"strconv"
	"strings"
)

// The leaves that everyone may import: the two types of time, and the words and the rule
// that judge and screens share.
const (
	timescale = "clockcheck/timescale"
	terms     = "clockcheck/terms"
)

// rooms are those of the judge that stands on the bank. A reading walks down once, so
// each imports only what is named in extra: sources and words know the bank, the bank
// knows the filter, and nobody knows who calls.
var rooms = []string{"clockcheck/estimate", "clockcheck/thermal", "clockcheck/bank", "clockcheck/source/receiver", "clockcheck/source/rtc", "clockcheck/source/pulse",
	"clockcheck/source/server", "clockcheck/source/mark", "clockcheck/source/air", "clockcheck/explain", "clockcheck/banked"}

// core are the packages to which time is an argument.
var core = slices.Concat(rooms, []string{
	"gnss", "rtc", "grid", "grid/standing", "grid/track", "clockcheck", "clockcheck/stability", timescale, terms, "status",
	"clockcheck/air/order", "clockcheck/air/sound", "clockcheck/air/band", "clockcheck/air/crowd", "clockcheck/air/signal",
	"clockcheck/leaps", "clockcheck/marks", "clockcheck/steer", "clockcheck/steer/steertest",
	"cmd/internal/station", "cmd/internal/world", "cmd/internal/screen", "cmd/internal/baseline", "cmd/internal/report",
})

// machines are the packages of the core that start no goroutine either.
var machines = slices.Concat(rooms, []string{
	"gnss", "grid", "grid/standing", "grid/track", "clockcheck", "clockcheck/stability", timescale, terms,
	"clockcheck/air/order", "clockcheck/air/sound", "clockcheck/air/band", "clockcheck/air/crowd", "clockcheck/air/signal",
	"clockcheck/leaps", "clockcheck/marks", "clockcheck/steer", "clockcheck/steer/steertest",
	"cmd/internal/station", "cmd/internal/world", "cmd/internal/screen", "cmd/internal/baseline", "cmd/internal/report",
})

// extra is what a package may import of ours besides timescale and terms.
var extra = map[string][]string{
	"clockcheck":                 {"clockcheck/thermal"},
	"clockcheck/bank":            {"clockcheck/estimate"},
	"clockcheck/source/receiver": {"clockcheck"},
	"clockcheck/source/rtc":      {"clockcheck", "clockcheck/bank"},
	"clockcheck/source/pulse":    {"clockcheck", "clockcheck/bank"},
	"clockcheck/source/server":   {"clockcheck", "clockcheck/bank"},
	"clockcheck/source/mark":     {"clockcheck", "clockcheck/bank"},
	"clockcheck/source/air":      {"clockcheck", "clockcheck/bank"},
	"clockcheck/explain": {"clockcheck", "clockcheck/bank", "clockcheck/estimate", "clockcheck/thermal", "clockcheck/source/receiver", "clockcheck/source/rtc",
		"clockcheck/source/pulse"},
	"clockcheck/banked": {"clockcheck", "clockcheck/bank", "clockcheck/estimate", "clockcheck/thermal", "clockcheck/explain", "clockcheck/source/receiver", "clockcheck/source/rtc",
		"clockcheck/source/pulse", "clockcheck/source/server", "clockcheck/source/mark", "clockcheck/source/air"},
	"clockcheck/steer":           {"clockcheck", "clockcheck/leaps"},
	"clockcheck/steer/steertest": {"clockcheck/steer"},
	"clockcheck/air/airtest":     {"clockcheck/air/band"},
	"clockcheck/air/band":        {"clockcheck/air/order"},
	"clockcheck/air/signal":      {"clockcheck/air/order"},
	"clockcheck/air/sound":       {"clockcheck/air/order"},
	"gnss/gnsstest":              {"gnss"},
	"grid/standing":              {"grid"},
	"grid/track":                 {"grid"},
	"rtc/rtctest":                {"rtc"},
	"status":                     {"status/safefile", "status/plaintext"},
	"status/page":                {"status", "status/spoken"},
	"status/metrics":             {"status"},
}

// leaves are the roots of the star's points; only cmd joins them. packaging holds the
// manual's pages, for the program to serve.
var leaves = []string{"gnss", "rtc", "grid", "clockcheck", "status", "packaging"}

// star says which import of a file breaks the star. Tests may import what they
// need.
func star(s source) (faults []string) {
	top, _, _ := strings.Cut(s.dir, "/")
	if s.test() || top == "cmd" {
		return nil
	}
	if !slices.Contains(leaves, top) {
		return []string{"lies in a folder that the rules do not know"}
	}
	for _, p := range imports(s.file) {
		ours, ok := strings.CutPrefix(p, "noonmark/")
		if ok && (ours != timescale && ours != terms || s.dir == timescale || s.dir == terms) && !slices.Contains(extra[s.dir], ours) {
			faults = append(faults, "imports "+p)
		}
	}
	return faults
}

// Reading a clock, or waiting on one.
var (
	timeFuncs = []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "Tick", "NewTicker", "NewTimer"}
	sysFuncs  = []string{"ClockGettime", "Gettimeofday", "Time", "ClockNanosleep", "Nanosleep"}
)

// clocks says where a file of the core reads a clock. Files for Linux are the
// edge: those of rtc wait on a device, others may only read the clock's own
// system call.
func clocks(s source) (faults []string) {
	if s.test() || !slices.Contains(core, s.dir) || s.dir == "rtc" && s.linux() {
		return nil
	}
	for _, p := range imports(s.file) {
		var banned []string
		switch p {
		case "time":
			banned = timeFuncs
		case "syscall", "golang.org/x/sys/unix":
			if banned = sysFuncs; s.linux() {
				banned = nil
			}
		}
		faults = append(faults, uses(s.file, p, banned)...)
	}
	return faults
}

// machine says where a value machine starts a goroutine.
func machine(s source) (faults []string) {
	if s.test() || !slices.Contains(machines, s.dir) {
		return nil
	}
	ast.Inspect(s.file, func(n ast.Node) bool {
		if _, ok := n.(*ast.GoStmt); ok {
			faults = append(faults, "starts a goroutine")
		}
		return true
	})
	return faults
}

// enumerator says where a file lists ports through the serial library, which
// opens and reprograms each of them, and with it keys transmitters (its issues
// bugst/go-serial#210, #104). Tests are held to it too.
func enumerator(s source) (faults []string) {
	for _, p := range imports(s.file) {
		if p == "go.bug.st/serial/enumerator" {
			faults = append(faults, "imports "+p)
		}
		if strings.HasPrefix(p, "go.bug.st/serial") {
			faults = append(faults, uses(s.file, p, []string{"GetPortsList", "GetDetailedPortsList"})...)
		}
	}
	return faults
}

func imports(f *ast.File) (paths []string) {
	for _, i := range f.Imports {
		p, _ := strconv.Unquote(i.Path.Value)
		paths = append(paths, p)
	}
	return paths
}

// uses lists the banned names of the package at importPath that a file mentions,
// called or not, whatever the file calls the package. A dot import, under which
// the names cannot be seen, is a fault if anything is banned.
func uses(f *ast.File, importPath string, banned []string) (faults []string) {
	if len(banned) == 0 {
		return nil
	}
	for _, i := range f.Imports {
		if p, _ := strconv.Unquote(i.Path.Value); p != importPath {
			continue
		}
		name := path.Base(importPath)
		if i.Name != nil {
			name = i.Name.Name
		}
		if name == "." {
			faults = append(faults, fmt.Sprintf("imports %s with a dot", importPath))
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if sel, ok := n.(*ast.SelectorExpr); ok && slices.Contains(banned, sel.Sel.Name) {
				if x, ok := sel.X.(*ast.Ident); ok && x.Name == name {
					faults = append(faults, fmt.Sprintf("uses %s.%s", importPath, sel.Sel.Name))
				}
			}
			return true
		})
	}
	return faults
}
