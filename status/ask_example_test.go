package status_test

import (
	"fmt"
	"os"
	"time"

	"noonmark/status"
)

// What another program does to ask whether it may key up: find
// the status, with its own present, and have it judged as of then.
func Example() {
	found, err := status.Find("/run/noonmark", os.Getenv("XDG_RUNTIME_DIR")+"/noonmark")
	if err != nil {
		fmt.Println("cannot tell:", err)
		return
	}
	r, err := status.Ready(found.Status, found.Now, []string{"FT8"})
	if err != nil {
		fmt.Println(err) // FT8 is not judged there
		return
	}
	fmt.Println(r.Answer, r.Because)
}

// The same on a status that is at hand; what is too old is not believed.
func ExampleReady() {
	s := status.Snapshot{Live: true, Written: status.Written{BootID: "this boot", BoottimeS: 100, StaleAfterS: 3},
		Clock: status.Clock{Basis: status.BasisGNSS, ErrorS: status.Known(0.012), GuardS: status.Known(0.142)},
		Modes: []status.Mode{{Mode: "FT8", ToleranceS: 1, Verdict: status.Within}}}
	s.Written.SystemUTC = status.At(1_900_000_000e9)
	for _, later := range []time.Duration{time.Second, time.Minute} {
		now := status.Now{BootID: "this boot", BoottimeS: 100 + later.Seconds(), System: s.Written.SystemUTC.V.Add(later)}
		r, err := status.Ready(s, now, []string{"ft8"})
		fmt.Println(r.Answer, r.ExitCode(), err)
	}
	// Output:
	// yes 0 <nil>
	// cannot tell 3 <nil>
}
