package service

import (
	"testing"

	"go.uber.org/goleak"

	"noonmark/cmd/internal/clitest"
)

// TestMain fails where a test leaves a goroutine behind.
func TestMain(m *testing.M) { goleak.VerifyTestMain(tests{m}) }

type tests struct{ *testing.M }

func (t tests) Run() int { return clitest.Run(t.M) }
