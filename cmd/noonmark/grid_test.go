package main

import (
	"encoding/json"
	"strings"
	"testing"

	"noonmark/cmd/internal/exit"
	"noonmark/grid"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"pgregory.net/rapid"
)

// geoJSON is RFC 7946 as far as it concerns a FeatureCollection of points and
// polygons, written from its sections 3.1 to 3.3.
const geoJSON = `{
  "type": "object", "required": ["type", "features"], "not": {"anyOf": [{"required": ["coordinates"]}, {"required": ["geometry"]}, {"required": ["properties"]}, {"required": ["crs"]}]},
  "properties": {
    "type": {"const": "FeatureCollection"},
    "features": {"type": "array", "items": {
      "type": "object", "required": ["type", "properties", "geometry"],
      "properties": {
        "type": {"const": "Feature"}, "properties": {"type": ["object", "null"]},
        "geometry": {"oneOf": [
          {"type": "object", "required": ["type", "coordinates"], "properties": {"type": {"const": "Point"}, "coordinates": {"$ref": "#/$defs/position"}}},
          {"type": "object", "required": ["type", "coordinates"], "properties": {"type": {"const": "Polygon"}, "coordinates": {"type": "array",
            "items": {"type": "array", "minItems": 4, "items": {"$ref": "#/$defs/position"}}}}}
        ]}}}}},
  "$defs": {"position": {"type": "array", "minItems": 2, "maxItems": 3, "prefixItems": [
    {"type": "number", "minimum": -180, "maximum": 180}, {"type": "number", "minimum": -90, "maximum": 90}]}}
}`

// Law: what grid --json prints is GeoJSON; its ring is closed, anticlockwise
// (section 3.1.6), does not cross the antimeridian (3.1.9), and holds the point.
func TestGridPrintsGeoJSON(t *testing.T) {
	text, err := jsonschema.UnmarshalJSON(strings.NewReader(geoJSON))
	if err != nil {
		t.Fatal(err)
	}
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource("geojson", text); err != nil {
		t.Fatal(err)
	}
	schema := compiler.MustCompile("geojson")
	check := func(t interface {
		Errorf(format string, args ...any)
	}, place string) {
		code, out, errOut := runArgs("grid", "--json", place)
		if code != exit.OK {
			t.Errorf("%s: exit %d, %s", place, code, errOut)
			return
		}
		value, err := jsonschema.UnmarshalJSON(strings.NewReader(out))
		if err == nil {
			err = schema.Validate(value)
		}
		if err != nil {
			t.Errorf("%s: %v\n%s", place, err, out)
		}
		var r struct {
			Features []struct {
				Geometry struct{ Coordinates json.RawMessage }
			}
		}
		var point [2]float64
		var rings [][][2]float64
		_ = json.Unmarshal([]byte(out), &r)
		if len(r.Features) != 2 || json.Unmarshal(r.Features[0].Geometry.Coordinates, &point) != nil || json.Unmarshal(r.Features[1].Geometry.Coordinates, &rings) != nil || len(rings) != 1 {
			t.Errorf("%s: %s", place, out)
			return
		}
		ring, area := rings[0], 0.0
		for i := range ring[1:] {
			a, b := ring[i], ring[i+1]
			area += (b[0] - a[0]) * (b[1] + a[1]) / 2
			if d := b[0] - a[0]; d > 20 || d < -20 {
				t.Errorf("%s: the ring jumps from %v to %v", place, a, b)
			}
		}
		if ring[0] != ring[len(ring)-1] || area >= 0 {
			t.Errorf("%s: ring %v, area %v", place, ring, area)
		}
		if point[0] < ring[0][0] || point[0] > ring[2][0] || point[1] < ring[0][1] || point[1] > ring[2][1] {
			t.Errorf("%s: %v is not in %v", place, point, ring)
		}
	}
	for _, place := range []string{"RR99xx", "AA00aa00aa", "0,180", "0,-180", "90,0", "-90,0", "RA", "FG69", "geo:1,2;u=5000", "38SMB44"} {
		check(t, place)
	}
	rapid.Check(t, func(t *rapid.T) {
		p, _ := grid.Degrees(rapid.Float64Range(-90, 90).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon"))
		check(t, p.Locator(2*rapid.IntRange(1, 5).Draw(t, "pairs")))
		check(t, p.Geo(-1))
	})
}

// Every form of the salt-flat camp says the same place, and names how it was read.
func TestGridReadsEveryForm(t *testing.T) {
	for place, want := range map[string]string{
		"FG69gu18et": "locator", "-20.13,-67.49": "latitude and longitude", "20°07.8'S 67°29.4'W": "latitude and longitude",
		"67°29'24\"W, 20°07'48\"S": "latitude and longitude", "19K 657838 7773417": "UTM", "19 south 657838 7773417": "UTM",
		"19KFT5783773416": "MGRS", "geo:-20.13,-67.49;u=9": "geo URI",
	} {
		code, out, errOut := runArgs(append([]string{"grid"}, strings.Fields(place)...)...)
		if code != exit.OK || !strings.Contains(out, "Locator  FG69gu18et\n") || !strings.Contains(out, "Read as  "+want) {
			t.Errorf("%s: exit %d\n%s%s", place, code, out, errOut)
		}
	}
	if _, out, _ := runArgs("grid", "FG69", "--length", "8"); !strings.Contains(out, "Locator  FG69\n") || !strings.Contains(out, "supports a locator of 4") {
		t.Errorf("a longer locator than there is:\n%s", out)
	}
	if _, out, _ := runArgs("grid", "-85,0"); !strings.Contains(out, "UTM      polar grid: not offered") {
		t.Errorf("polar:\n%s", out)
	}
}
