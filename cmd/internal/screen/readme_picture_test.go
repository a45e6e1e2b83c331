package screen

import (
	"encoding/xml"
	"fmt"
	"os"
	"strings"
	"testing"

	"noonmark/status"
)

// readmePicture is the screen as the README shows it; packaging/doc/make makes it.
const readmePicture = "../../../packaging/doc/screen.svg"

// svg draws a picture as a terminal would, dark on light turned about.
func svg(lines []Line, size Size) string {
	const w, h, pad = 8.4, 18, 12
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %d" font-family="monospace" font-size="14">`+"\n",
		float64(size.Columns)*w+2*pad, size.Lines*h+2*pad)
	b.WriteString(`<rect width="100%" height="100%" fill="#14171a"/>` + "\n")
	for i, l := range lines {
		if l.Text == "" {
			continue
		}
		fill, weight := "#d8dde2", ""
		if l.Bold {
			fill, weight = "#ffffff", ` font-weight="bold"`
		}
		if l.Loud {
			fmt.Fprintf(&b, `<rect x="%d" y="%d" width="%.1f" height="%d" fill="#ffffff"/>`+"\n", pad, pad+i*h, float64(len([]rune(l.Text)))*w, h)
			fill = "#14171a"
		}
		var text strings.Builder
		if err := xml.EscapeText(&text, []byte(l.Text)); err != nil {
			return err.Error()
		}
		fmt.Fprintf(&b, `<text x="%d" y="%d" fill="%s"%s xml:space="preserve" textLength="%.1f">%s</text>`+"\n", pad, pad+i*h+14, fill, weight, float64(len([]rune(l.Text)))*w, text.String())
	}
	return b.String() + "</svg>\n"
}

func TestReadmePicture(t *testing.T) {
	s, now := camp()
	s.Clock.ErrorS, s.Clock.Steering = status.Known(-0.012), "holding"
	s.Modes[1].Verdict, s.Modes[1].MarginS, s.Modes[1].GoodForS = status.Within, status.Known(0.3), status.Known(86400)
	s.References[1].Trust = status.Trusted
	size := Size{80, 20}
	want := svg(Picture(s, now, "", size), size)
	if os.Getenv("NOONMARK_MAKE_DOC") != "" {
		if err := os.WriteFile(readmePicture, []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile(readmePicture)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Error("the screen looks otherwise than in the README: packaging/doc/make")
	}
}
