package page

import (
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"testing"
	"time"

	"noonmark/status"
	"noonmark/status/page/pagetest"
)

// readmePicture is the page as the README shows it; packaging/doc/make makes it.
const readmePicture = "../../packaging/doc/page.png"

// The README's picture shows the page as it is now: as large, and alike but for the
// seconds that pass and the edges of letters, which fonts of other versions draw otherwise.
func TestReadmePicture(t *testing.T) {
	b := pagetest.Open(t)
	f := newFake(t, func(s *status.Snapshot) {
		s.Clock.Because = "By the receiver the clock is 0.012 s slow, ± 0.081 s (99 %)."
		s.References[1].Trust, s.References[1].Because, s.References[1].Battery = status.Trusted, "Compared with the present time.", ""
	}, nil)
	b.Size(1280, 800)
	b.Go(f.server.URL)
	b.Wait(`document.getElementById("count").textContent.includes("next period") && `+alive, patience)
	time.Sleep(2 * time.Second) // the time's exchange
	b.Wait(alive, patience)
	now := b.Picture()
	if os.Getenv("NOONMARK_MAKE_DOC") != "" {
		out, err := os.Create(readmePicture)
		if err != nil {
			t.Fatal(err)
		}
		defer out.Close()
		if err := png.Encode(out, now); err != nil {
			t.Fatal(err)
		}
		return
	}
	in, err := os.Open(readmePicture)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	then, err := png.Decode(in)
	if err != nil {
		t.Fatal(err)
	}
	if then.Bounds().Size() != now.Bounds().Size() {
		t.Fatalf("%v now, %v in the README: packaging/doc/make", now.Bounds().Size(), then.Bounds().Size())
	}
	if d := difference(then, now); d > 0.03 {
		t.Errorf("the page looks otherwise than in the README (%.3f of black to white a pixel): packaging/doc/make", d)
	}
}

// difference is the mean one of two pictures' pixels, 0 to 1, of blocks of 8 by 8.
func difference(a, b image.Image) float64 {
	const block = 8
	r := a.Bounds()
	sum, n := 0.0, 0
	for y := r.Min.Y; y+block <= r.Max.Y; y += block {
		for x := r.Min.X; x+block <= r.Max.X; x += block {
			sum += math.Abs(mean(a, x, y, block) - mean(b, x, y, block))
			n++
		}
	}
	return sum / float64(n)
}

func mean(m image.Image, x0, y0, block int) float64 {
	sum := 0.0
	for y := y0; y < y0+block; y++ {
		for x := x0; x < x0+block; x++ {
			sum += float64(color.GrayModel.Convert(m.At(x, y)).(color.Gray).Y)
		}
	}
	return sum / float64(255*block*block)
}
