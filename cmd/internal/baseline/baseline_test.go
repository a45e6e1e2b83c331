package baseline

import (
	"flag"
	"os"
	"testing"
)

var nights = flag.Int("nights", 2, "how many nights of each station are played")

func TestReport(t *testing.T) { Report(os.Stdout, *nights) }
