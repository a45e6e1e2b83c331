package port

import (
	"path/filepath"
	"strings"
)

// LineBaud is the speed at which bytes really come in over a port, bit/s, for dating
// their arrival back; 0 where the nominal speed means nothing: a receiver that is
// a USB device of its own (CDC ACM) has no serial line.
func LineBaud(path string, baud int) int {
	real, err := filepath.EvalSymlinks(path)
	if err == nil && strings.HasPrefix(filepath.Base(real), "ttyACM") {
		return 0
	}
	return baud
}

// Relayed tells whether a device of the settings comes over a network: its sentences may
// be seconds late.
func Relayed(device string) bool {
	return strings.HasPrefix(device, "tcp://") || strings.HasPrefix(device, "udp://")
}
