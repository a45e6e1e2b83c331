package page

import (
	"fmt"
	"image"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"noonmark/status/page/pagetest"
)

var (
	matrixStates = []string{"within", "borderline", "outside", "unknown", "gone", "ending", "demo"}
	matrixLooks  = []string{"day", "sun", "dusk", "night"}
	matrixSizes  = [][2]int64{{360, 640}, {1280, 800}, {1024, 600}, {1366, 768}, {800, 1280}, {640, 400}}
)

// fits are the sizes at which the glance needs no scrolling. (640 by 400 is the tablet at
// 200 %: there the answer comes first.)
var fits = map[[2]int64]bool{{360, 640}: true, {1280, 800}: true, {1024, 600}: true, {1366, 768}: true, {800, 1280}: true}

// faultsOfLayout lists what is cut off, sticks out, is laid over another, or breaks within
// a number; and what is too small to be hit.
const faultsOfLayout = `(() => {
	const out = [], root = document.documentElement, seen = (e) => e.checkVisibility({visibilityProperty: true}) && !e.closest(".sr, [aria-hidden=true]:not(svg), dialog");
	const name = (e) => e.tagName + "#" + e.id + "." + (e.getAttribute("class") ?? "") + " " + e.textContent.slice(0, 30);
	for (const e of document.querySelectorAll("body *")) {
		if (!seen(e) || e.closest("svg")) continue;
		const r = e.getBoundingClientRect(), scrolls = e.closest("#modes ul, .number, .picture");
		if (!scrolls && (r.right > root.clientWidth + 0.5 || r.left < -0.5)) out.push("sticks out: " + name(e));
		if (!scrolls && getComputedStyle(e).display !== "inline" && e.clientWidth > 0 && e.scrollWidth > e.clientWidth + 1) out.push("too wide: " + name(e));
	}
	const answer = document.querySelector("#answer"), gone = root.dataset.state === "gone";
	const pieces = gone ? [...document.querySelectorAll("#gone .head, #gone .foot")] : ["head", "foot"].map((id) => document.getElementById(id));
	const box = pieces.map((e) => e.getBoundingClientRect()), level = document.querySelector(".level").getBoundingClientRect();
	if (!gone && (level.top < box[0].bottom - 8 || box[1].top < level.bottom - 3)) out.push("the level is overlaid: " + [box[0].bottom, level.top, level.bottom, box[1].top].map(Math.round));
	if (gone && box[1].top < box[0].bottom - 3) out.push("the words are overlaid");
	const panel = document.getElementById("panel").getBoundingClientRect();
	if (box[1].bottom > panel.bottom + 1) out.push("the panel is too small");
	const blocks = ["panel", "time", "ring", "place", "lamps"].map((id) => [id, document.getElementById(id).getBoundingClientRect()]);
	for (const [a, p] of blocks) for (const [b, q] of blocks)
		if (a < b && Math.min(p.right, q.right) - Math.max(p.left, q.left) > 2 && Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 2) out.push(a + " and " + b + " overlap");
	for (const e of document.querySelectorAll(".digits, .locator, #bound, .left b, #answer .word span, #modes a")) {
		if (!seen(e) || !e.textContent.trim()) continue;
		const r = document.createRange(); r.selectNodeContents(e);
		const lines = new Set([...r.getClientRects()].filter((c) => c.width > 1).map((c) => Math.round(c.bottom / 12)));
		if (lines.size > 2 && e.matches(".locator, #modes a") || lines.size > 1 && !e.matches(".locator, #modes a, .digits")) out.push("breaks: " + name(e));
	}
	for (const e of document.querySelectorAll("a, button, summary, input, select")) {
		if (!seen(e)) continue;
		const r = e.getBoundingClientRect();
		if (e.matches("input[type=radio]") ? e.closest("label").getBoundingClientRect().height < 44 : r.height < 43.9 || r.width < 43.9) out.push("small target: " + name(e) + " " + Math.round(r.width) + "×" + Math.round(r.height));
	}
	return out; })()`

// TestStatesLooksSizes holds the screen in its states, looks and sizes to its layout and its
// contrast. By default a few of each; NOONMARK_MATRIX=1 plays all.
func TestStatesLooksSizes(t *testing.T) {
	t.Parallel()
	all := os.Getenv("NOONMARK_MATRIX") != ""
	var runs [][3]int
	for look := range matrixLooks {
		for state := range matrixStates {
			for size := range matrixSizes {
				if all || (look+state)%4 == 0 && size == state%2 {
					runs = append(runs, [3]int{look, state, size})
				}
			}
		}
	}
	f, _ := withHands(t)
	b := pagetest.OpenFor(t, 20*time.Minute)
	small := make(map[string]map[string]image.Image) // by look and size, then state
	at := [2]int{-1, -1}
	for _, run := range runs {
		look, state, size := matrixLooks[run[0]], matrixStates[run[1]], matrixSizes[run[2]]
		if at[0] != run[0] {
			f.still.Store(false)
			b.Go(f.server.URL + "/look?look=" + look)
			b.Wait(alive+` && !!document.querySelector("#tools button")`, patience)
		}
		if at != [2]int{run[0], run[1]} {
			become(b, f, state)
		}
		at = [2]int{run[0], run[1]}
		b.Size(size[0], size[1])
		pagetest.Eval[bool](b, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))`)
		what := fmt.Sprintf("%s, %s, %d×%d", look, state, size[0], size[1])
		name := strings.NewReplacer(", ", "-", "×", "x").Replace(what)
		for _, fault := range pagetest.Eval[[]string](b, faultsOfLayout) {
			t.Errorf("%s: %s", what, fault)
		}
		if over := pagetest.Eval[float64](b, `document.getElementById("glance").getBoundingClientRect().bottom + scrollY - innerHeight`); fits[size] && over > 1 && state != "demo" {
			t.Errorf("%s: the glance is %.0f px too high", what, over)
		}
		// The red look is held to AA, the others to AAA.
		for _, v := range b.Accessible("testdata/axe", map[bool]string{true: "", false: "main"}[look == "night"]) {
			t.Errorf("%s: %s: %s: %s", what, v.ID, v.Help, strings.Join(v.Nodes, "\n    "))
		}
		b.Shot(name)
		key := look + fmt.Sprint(size)
		if small[key] == nil {
			small[key] = make(map[string]image.Image)
		}
		small[key][state] = shrunk(b.Picture())
	}
	for key, states := range small {
		apart(t, key, states)
	}
}

// shrunk is a picture 160 pixels wide, each the mean of what it stands for.
func shrunk(m image.Image) image.Image {
	b := m.Bounds()
	h := 160 * b.Dy() / b.Dx()
	out := image.NewRGBA64(image.Rect(0, 0, 160, h))
	for y := range h {
		for x := range 160 {
			var sum [3]uint64
			n := uint64(0)
			for v := y * b.Dy() / h; v < (y+1)*b.Dy()/h; v++ {
				for u := x * b.Dx() / 160; u < (x+1)*b.Dx()/160; u++ {
					r, g, bl, _ := m.At(u, v).RGBA()
					sum[0], sum[1], sum[2], n = sum[0]+uint64(r), sum[1]+uint64(g), sum[2]+uint64(bl), n+1
				}
			}
			i := out.PixOffset(x, y)
			for c, s := range sum {
				v := uint16(s / max(n, 1))
				out.Pix[i+2*c], out.Pix[i+2*c+1] = uint8(v>>8), uint8(v)
			}
			out.Pix[i+6], out.Pix[i+7] = 0xff, 0xff
		}
	}
	return out
}

// apart holds the shrunk pictures of the states of one look and size to be told from each
// other: within the panel, which is the largest thing, the mean distance of two states'
// pixels is at least a twelfth of what there is between black and white; that of a state
// with itself a second later is 0.
func apart(t *testing.T, key string, states map[string]image.Image) {
	t.Helper()
	for a, p := range states {
		for b, q := range states {
			if a >= b || a == "ending" && b == "within" || a == "demo" || b == "demo" || p.Bounds() != q.Bounds() {
				continue // an answer that ends keeps its shape and colour
			}
			sum, n := 0.0, 0.0
			r := p.Bounds()
			for y := r.Dy() / 10; y < r.Dy()*6/10; y++ {
				for x := 2; x < r.Dx()*58/100; x++ {
					r1, g1, b1, _ := p.At(x, y).RGBA()
					r2, g2, b2, _ := q.At(x, y).RGBA()
					d := math.Max(math.Abs(float64(r1)-float64(r2)), math.Max(math.Abs(float64(g1)-float64(g2)), math.Abs(float64(b1)-float64(b2))))
					sum, n = sum+d/0xffff, n+1
				}
			}
			if sum/n < 1.0/12 {
				t.Errorf("%s: shrunk to 160 pixels, %s and %s differ by %.3f only", key, a, b, sum/n)
			}
		}
	}
}
