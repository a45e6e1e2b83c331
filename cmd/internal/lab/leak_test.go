package lab

import (
	"testing"

	"go.uber.org/goleak"
)

// TestMain fails where a test leaves a goroutine behind.
func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }
