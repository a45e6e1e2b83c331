package main

import (
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"noonmark/cmd/internal/clitest"
)

// tests runs the tests and removes the program that they built.
type tests struct{ m *testing.M }

func (t tests) Run() int { return clitest.Run(t.m) }

func TestMain(m *testing.M) {
	testscript.Main(tests{m}, map[string]func(){"noonmark": program})
}
