package main

import (
	"os"
	"testing"

	"noonmark/cmd/internal/clitest"
)

func TestMain(m *testing.M) { os.Exit(clitest.Run(m)) }
