package page

import (
	"fmt"
	"strings"

	"rsc.io/qr"
)

// code is the address of the page as a picture that a camera reads (ISO/IEC 18004).
type code struct {
	Address string
	Size    int // modules, with the quiet zone of four at each side
	Path    string
}

// run is how many black modules begin at x; 0 where one is in their midst or white.
func run(c *qr.Code, x, y int) (n int) {
	if x > 0 && c.Black(x-1, y) {
		return 0
	}
	for x+n < c.Size && c.Black(x+n, y) {
		n++
	}
	return n
}

// codeOf draws an address, nil if it is too long.
func codeOf(address string) *code {
	c, err := qr.Encode(address, qr.M)
	if err != nil {
		return nil
	}
	var path strings.Builder
	for y := range c.Size {
		for x := range c.Size {
			if n := run(c, x, y); n > 0 {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", x, y, n, n)
			}
		}
	}
	return &code{address, c.Size + 8, path.String()}
}
