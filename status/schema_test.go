package status

import (
	"encoding/json"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"pgregory.net/rapid"

	"noonmark/clockcheck/timescale"
)

// The checks against the schema are made by github.com/santhosh-tekuri/jsonschema,
// which passes the JSON Schema project's own test suite for draft 2020-12.

// compiled returns the schema as published; when strict, members that it does not
// list are refused, so that a field cannot be added in Go alone.
func compiled(t testing.TB, strict bool) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	if strict {
		closeObjects(doc)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	const url = "urn:noonmark:status:v1"
	if err := c.AddResource(url, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(url)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func closeObjects(v any) {
	switch v := v.(type) {
	case map[string]any:
		if _, open := v["additionalProperties"]; v["properties"] != nil && v["type"] != nil && !open {
			v["additionalProperties"] = false
		}
		for _, w := range v {
			closeObjects(w)
		}
	case []any:
		for _, w := range v {
			closeObjects(w)
		}
	}
}

func validate(s *jsonschema.Schema, b []byte) error {
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(string(b)))
	if err != nil {
		return err
	}
	return s.Validate(v)
}

func TestSchemaRefuses(t *testing.T) {
	s := compiled(t, true)
	good, err := json.Marshal(full())
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ name, from, to string }{
		{"another schema", `status/v1`, `status/v2`},
		{"a member missing", `"live":true,`, ``},
		{"a list that is null", `"proved":["date","second","latency"]`, `"proved":null`},
		{"a verdict of our own", `"verdict":"within"`, `"verdict":"fine"`},
		{"a trust of our own", `"trust":"trusted"`, `"trust":"good"`},
		{"a basis of our own", `"basis":"gnss"`, `"basis":"sun"`},
		{"a negative guard", `"guard_s":0.142`, `"guard_s":-0.142`},
		{"a number as text", `"error_s":-0.012`, `"error_s":"-0.012"`},
		{"a latitude of 91", `-20.13`, `-91`},
		{"a locator of 3", `FG69GU18`, `FG6`},
		{"part of a satellite", `"satellites":11`, `"satellites":11.5`},
		{"local time", `2031-02-05T09:00:00Z`, `2031-02-05T09:00:00-04:00`},
		{"no time", `2031-02-05T09:00:00Z`, `2031-02-35T09:00:00Z`},
		{"never stale", `"stale_after_s":3`, `"stale_after_s":3600`},
		{"an unlisted member", `"live":true`, `"live":true,"mood":"good"`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			bad := strings.Replace(string(good), tt.from, tt.to, 1)
			if bad == string(good) {
				t.Fatalf("%s is not in %s", tt.from, good)
			}
			if validate(s, []byte(bad)) == nil {
				t.Error("accepted")
			}
		})
	}
}

func TestSchemaHolds(t *testing.T) {
	s := compiled(t, true)
	kept := full()
	kept.Position.Kept, kept.Position.Fix, kept.Position.AgeS, kept.Position.AveragedS = true, "none", Float{}, Known(600)
	for name, snap := range map[string]Snapshot{"full": full(), "least": least(), "kept": kept} {
		b, err := json.Marshal(snap)
		if err != nil {
			t.Fatal(err)
		}
		if err := validate(s, b); err != nil {
			t.Errorf("%s: %v\n%s", name, err, b)
		}
	}
	// The example that the documentation shows.
	b, err := os.ReadFile("testdata/example.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := validate(compiled(t, false), b); err != nil {
		t.Error(err)
	}
	snap, err := Parse(b)
	if err != nil {
		t.Fatal(err)
	}
	// What we write of it holds the same members with the same values.
	again, err := json.Marshal(snap)
	if err != nil {
		t.Fatal(err)
	}
	var want, got any
	if err := json.Unmarshal(b, &want); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(again, &got); err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
}

// Every snapshot there can be holds to the schema and is read back as it was.
func TestSchemaHoldsAlways(t *testing.T) {
	s := compiled(t, true)
	rapid.Check(t, func(t *rapid.T) {
		snap := anySnapshot(t)
		b, err := json.Marshal(snap)
		if err != nil {
			t.Fatal(err)
		}
		if err := validate(s, b); err != nil {
			t.Fatalf("%v\n%s", err, b)
		}
		back, err := Parse(b)
		if err != nil {
			t.Fatal(err)
		}
		again, err := json.Marshal(back)
		if err != nil || string(again) != string(b) {
			t.Fatalf("read back differently: %v\n%s\n%s", err, b, again)
		}
		if !near(back.Clock.ErrorS, snap.Clock.ErrorS) {
			t.Fatalf("error %v became %v", snap.Clock.ErrorS, back.Clock.ErrorS)
		}
		for _, line := range strings.Split(snap.Text()+snap.Why(), "\n") {
			if n := len([]rune(line)); n > 80 {
				t.Fatalf("%d columns: %s", n, line)
			}
		}
	})
}

func near(a, b Float) bool {
	if math.IsNaN(b.V) || math.IsInf(b.V, 0) {
		b = Float{}
	}
	return a.OK == b.OK && (!a.OK || math.Abs(a.V-b.V) <= 1e-7*math.Max(1, math.Abs(b.V)))
}

func anySnapshot(t *rapid.T) Snapshot {
	draw := func(name string, words ...string) string { return rapid.SampledFrom(words).Draw(t, name) }
	text := func() string { return rapid.StringN(0, 120, 300).Draw(t, "text") }
	name := func() string { return rapid.StringN(1, 20, 60).Draw(t, "name") }
	float := func() Float { // NaN and the infinities among them
		return Float{rapid.OneOf(rapid.Float64(), rapid.Float64Range(-5, 5), rapid.Just(math.NaN()), rapid.Just(math.Inf(1))).Draw(t, "f"),
			rapid.Bool().Draw(t, "ok")}
	}
	width := func() Float { f := float(); f.V = math.Abs(f.V); return f }
	when := func() Time {
		return Time{timescale.UTC(rapid.Int64Range(-9e18, 9e18).Draw(t, "utc")), rapid.Bool().Draw(t, "ok")}
	}
	count := func() int64 { return rapid.Int64Range(0, 1<<53).Draw(t, "n") }
	s := Snapshot{Live: rapid.Bool().Draw(t, "live"),
		Written: Written{SystemUTC: At(when().V), BootID: text(), BoottimeS: rapid.Float64Range(0, 1e9).Draw(t, "boot"),
			StaleAfterS: rapid.Float64Range(0.1, 60).Draw(t, "stale"), AsleepS: Known(rapid.Float64Range(0, 1e9).Draw(t, "asleep"))},
		Clock: Clock{Basis: draw("basis", BasisPPS, BasisGNSS, BasisNetwork, BasisOperator, BasisRTC, BasisHoldover, BasisNone),
			ErrorS: float(), BoundS: width(), RatePPM: float(), RateBoundPPM: width(), GuardS: width(),
			Steering: draw("steering", SteeringObserving, "slewing"), Because: text()}}
	for range rapid.IntRange(0, 2).Draw(t, "items") {
		s.Clock.Budget = append(s.Clock.Budget, Term{name(), width(), text()})
		s.Modes = append(s.Modes, Mode{Mode: name(), InUse: rapid.Bool().Draw(t, "use"), PeriodS: 15, ToleranceS: rapid.Float64Range(0.001, 10).Draw(t, "tol"),
			Verdict: draw("verdict", Within, Outside, Borderline, Unknown), MarginS: float(), GoodUntilUTC: when(), GoodForS: width()})
		s.References = append(s.References, Reference{name(), draw("kind", "gnss", "rtc"),
			draw("trust", Silent, Warming, Trusted, Doubted, Faulty), draw("state", "", "no-fix"), text(), float(), width(), width(), draw("battery", "", BatteryGood, BatteryLow, BatteryEmpty)})
		s.Events = append(s.Events, Event{when(), "step", text()})
		s.Advice = &Advice{draw("advice", AdviceWait, AdviceNone), name(), width()}
		s.Problems = append(s.Problems, Problem{ProblemNotKept, name()})
		s.Clock.SecondInS = Known(width().V)
		s.Receiver = &Receiver{text(), text(), int(count() % 921601), count(), map[string]int64{name(): count()}, count(), count()}
		s.Sharing = &Sharing{count(), count(), count()}
		station := text()
		s.Air = &Air{int(count() % 100), float(), width(), width(), &station}
		s.Thermometer = &Thermometer{text(), float(), float(), width(), text()}
		s.TimeService = &TimeService{count(), count(), count(), count()}
		s.Position = &Position{Locator: draw("locator", "FG69", "FG69GU18", "FG", "FG69gu18aa", "FG69GU"), LatDeg: Known(rapid.Float64Range(-90, 90).Draw(t, "lat")),
			LonDeg: Known(rapid.Float64Range(-180, 180).Draw(t, "lon")), AltM: float(), BoundM: width(), Fix: draw("fix", "none", "2d", "3d"),
			Satellites: Float{float64(count() % 60), rapid.Bool().Draw(t, "ok")}, AgeS: width(), EdgeM: width()}
	}
	return s
}

// Numbers come out as a person would write them, and never as what JSON has not.
func TestFloatJSON(t *testing.T) {
	for _, tt := range []struct {
		in   Float
		want string
	}{
		{Float{}, "null"}, {Known(math.NaN()), "null"}, {Known(math.Inf(-1)), "null"}, {Float{math.NaN(), true}, "null"},
		{Known(0), "0"}, {Known(-0.00000001), "0"}, {Known(-0.012), "-0.012"}, {Known(0.1 + 0.2), "0.3"},
		{Known(812.4), "812.4"}, {Known(11), "11"}, {Known(0.00000012), "0.0000001"}, {Known(1e8), "1e+08"}, {Known(1e300), "1e+300"},
		{Known(123456789.25), "1.2345678925e+08"},
	} {
		b, err := json.Marshal(tt.in)
		if err != nil || string(b) != tt.want {
			t.Errorf("%v: got %s, %v; want %s", tt.in, b, err, tt.want)
		}
	}
}

func TestTimeJSON(t *testing.T) {
	for _, bad := range []string{`1`, `"x"`, `"2031-02-03"`, `"0001-01-01T00:00:00Z"`, `"9999-01-01T00:00:00Z"`, `{}`, `"2031-02-03T04:05:06"`} {
		var got Time
		if err := json.Unmarshal([]byte(bad), &got); err == nil {
			t.Errorf("%s: accepted as %v", bad, got)
		}
	}
	for in, want := range map[string]string{
		`null`: `null`, `"2031-02-03T04:05:06Z"`: `"2031-02-03T04:05:06Z"`, `"2031-02-03T04:05:06.25Z"`: `"2031-02-03T04:05:06.250Z"`,
		`"2031-02-03T04:05:06.250001Z"`: `"2031-02-03T04:05:06.250001Z"`, `"2031-02-03T00:05:06.9999999-04:00"`: `"2031-02-03T04:05:07Z"`,
	} {
		var got Time
		if err := json.Unmarshal([]byte(in), &got); err != nil {
			t.Errorf("%s: %v", in, err)
		}
		if b, _ := json.Marshal(got); string(b) != want {
			t.Errorf("%s: got %s, want %s", in, b, want)
		}
	}
}
