package plaintext

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestEscape(t *testing.T) {
	for in, want := range map[string]string{
		"": "", "FG69 ±0.1 s\tµ\n": "FG69 ±0.1 s\tµ\n", "\x1b[2J": `\u001b[2J`, "a\u009b31m": `a\u009b31m`, "\u202eabc": `\u202eabc`,
		"a\x9bb": `a\ufffdb`, "\x7f\r\a": `\u007f\u000d\u0007`, "\u2066x\u2069\u200f\u061c": `\u2066x\u2069\u200f\u061c`,
		"\U000e0041": `\udb40\udc41`, "\u2028": `\u2028`, "\ufeff": `\ufeff`, "é日": "é日", "a,b\r\nc\r\n": "a,b\r\nc\r\n", "FG69\rover": `FG69\u000dover`, "\r\r\n": "\\u000d\r\n",
	} {
		if got := String(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
}

// TestLaw: whatever goes through, in whatever pieces, nothing that acts comes out; and
// JSON means the same as before.
func TestLaw(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.String().Draw(t, "text") + rapid.SampledFrom([]string{"", "\u009b", "\u202e", "\x1b]0;", "\x7f", "\U000e0001"}).Draw(t, "evil")
		in, err := json.Marshal(map[string]string{"k": text})
		if err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		w := NewWriter(&out)
		for rest := in; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "piece")
			if got, err := w.Write(rest[:n]); got != n || err != nil {
				t.Fatal(got, err)
			}
			rest = rest[n:]
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		harmless(t, out.String())
		var got map[string]string
		if err := json.Unmarshal(out.Bytes(), &got); err != nil || got["k"] != strings.ToValidUTF8(text, "\ufffd") {
			t.Fatalf("%q became %q (%v)", text, got["k"], err)
		}
	})
}

// A line end that comes in two pieces stays one.
func TestLineEndInPieces(t *testing.T) {
	var out bytes.Buffer
	w := NewWriter(&out)
	for _, p := range []string{"a,b\r", "\nc\r", "d\r"} {
		if _, err := w.Write([]byte(p)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil || out.String() != "a,b\r\nc\\u000dd\\u000d" {
		t.Errorf("%q, %v", &out, err)
	}
}

func harmless(t interface{ Fatalf(string, ...any) }, s string) {
	if !utf8.ValidString(s) {
		t.Fatalf("%q is damaged", s)
	}
	for _, r := range strings.ReplaceAll(s, "\r\n", "\n") { // a carriage return only in a line's end
		if r != '\n' && r != '\t' && (unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Bidi_Control, r)) {
			t.Fatalf("%U in %q", r, s)
		}
	}
}

func FuzzEscape(f *testing.F) {
	f.Add([]byte("a,b\r\nc\rd"))
	f.Add([]byte("\x1b[31m\u009b\u202e\xff\xe2\x80"))
	f.Fuzz(func(t *testing.T, b []byte) {
		once := Escape(b)
		harmless(t, string(once))
		if !bytes.Equal(Escape(once), once) {
			t.Fatalf("%q: not the same the second time", b)
		}
		if utf8.Valid(b) && strings.IndexFunc(string(b), harmful) < 0 && !bytes.Equal(once, b) {
			t.Fatalf("%q was harmless and became %q", b, once)
		}
	})
}

func BenchmarkWriter(b *testing.B) {
	line := []byte(strings.Repeat("FG69GU  123.4 km  045.6°\n", 40))
	w := NewWriter(&bytes.Buffer{})
	b.SetBytes(int64(len(line)))
	for b.Loop() {
		w.to.(*bytes.Buffer).Reset()
		w.Write(line)
	}
}
