package main

import (
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"noonmark/cmd/internal/clitest"
)

// tests runs the tests and removes the program that they built.
type tests struct{ m *testing.M }

func (t tests) Run() int {
	os.Setenv("SYSTEMD_UNIT_PATH", "/nonexistent") // what is named to start, whatever is installed here
	return clitest.Run(t.m)
}

func TestMain(m *testing.M) {
	testscript.Main(tests{m}, map[string]func(){"noonmark": program})
}
