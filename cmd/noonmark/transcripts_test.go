package main

import (
	"context"
	"encoding/json"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"noonmark/status"
)

// TestTranscripts plays the transcripts of testdata/transcripts: what is typed, what is
// printed, to the byte. After a change that is meant,
//
//	NOONMARK_UPDATE=1 go test ./cmd/noonmark -run Transcripts
//
// writes what is printed now into them; read the difference before you commit it.
func TestTranscripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/transcripts",
		RequireExplicitExec: true,
		UpdateScripts:       os.Getenv("NOONMARK_UPDATE") != "",
		Setup: func(e *testscript.Env) error {
			e.Setenv("NO_COLOR", "1")
			e.Setenv("XDG_RUNTIME_DIR", e.WorkDir+"/user")
			e.Setenv("SYSTEMD_UNIT_PATH", e.WorkDir+"/units") // whatever is installed here
			e.Setenv("XDG_STATE_HOME", e.WorkDir+"/state")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"publish": publish},
	})
}

// publish FILE DIR puts the status in FILE into DIR as the service would have now. It
// stays fresh for the length of a test.
func publish(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: publish FILE DIR")
	}
	var s status.Snapshot
	ts.Check(json.Unmarshal([]byte(ts.ReadFile(args[0])), &s))
	now, err := status.ReadNow()
	ts.Check(err)
	s.Written = status.Written{SystemUTC: status.At(now.System), BootID: now.BootID, BoottimeS: now.BoottimeS, StaleAfterS: 3600, AsleepS: now.AsleepS}
	dir := ts.MkAbs(args[1])
	ts.Check(os.MkdirAll(dir, 0o755))
	p, err := status.NewPublisher(dir, true)
	ts.Check(err)
	ts.Check(p.Publish(&s))
	ts.Defer(func() { p.Close() })
}

// program is main for the transcripts: without the signals, which end with the process.
func program() {
	os.Exit(run(context.Background(), os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
