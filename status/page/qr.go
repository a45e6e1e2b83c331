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

// codeOf draws an address, nil if it is too long.
func codeOf(address string) *code {
	c, err := qr.Encode(address, qr.M)
	if err != nil {
		return nil
	}
	var path strings.Builder
	for y := range c.Size {
		for x := range c.Size {
			if c.Black(x, y) {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x, y)
			}
		}
	}
	return &code{address, c.Size + 8, path.String()}
}
