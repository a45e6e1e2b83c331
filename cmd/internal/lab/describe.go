package lab

import (
	"fmt"
	"io"
	"reflect"
	"slices"
	"strings"
	"time"

	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/world"
)

// Describe prints what a world is made of, for looking into a random night: what is not
// zero, and of each chapter what is another thing than in the one before.
func Describe(out io.Writer, c *Case) {
	fmt.Fprintf(out, "kinds %q\noscillator %s\nair %s\nhardware clock: none %v, compensated %v, error %v, off for %v, %s\nreceiver %s\nline %s\n",
		c.Kinds, nonzero(c.Osc), nonzero(c.Air), c.NoRTC, c.Compensated, c.RTCError, c.OffFor, nonzero(c.RTC), nonzero(c.Receiver), nonzero(c.Link))
	if c.Transmitter != nil {
		fmt.Fprintf(out, "transmitter %s\n", nonzero(*c.Transmitter))
	}
	if c.Thermometer != nil {
		fmt.Fprintf(out, "thermometer %s\n", nonzero(*c.Thermometer))
	}
	fmt.Fprintf(out, "steered %v, length %v\n", c.Steered, c.Length)
	for _, d := range c.MayMiss {
		fmt.Fprintf(out, "declared class %d from %v to %v\n", d.Class, d.from, d.to)
	}
	var last world.Chapter
	for _, ch := range c.Story {
		fmt.Fprintf(out, "%9s  %s\n", ch.From.Truncate(time.Second), differs(&last, &ch))
		last = ch
	}
}

// standing are the fields of a chapter that stay until they change.
var standing = []string{"Scene", "Servers", "Portal", "Way"}

// InWords words an input of the station: which it is, and what is not zero in it.
func InWords(in *station.Input) string {
	if b := in.Bytes; b != nil {
		return fmt.Sprintf("bytes %q at %.4f s%s", b.P, b.At.Sub(0).Seconds(), map[bool]string{true: ", flowing"}[b.Flowing])
	}
	v := reflect.ValueOf(*in)
	for i := range v.NumField() {
		if !v.Field(i).IsZero() {
			return strings.ToLower(v.Type().Field(i).Name) + " " + word(v.Field(i))
		}
	}
	return "nothing"
}

// differs words what a chapter changes.
func differs(last, now *world.Chapter) string {
	a, b := reflect.ValueOf(*last), reflect.ValueOf(*now)
	var words []string
	for i := range b.NumField() {
		f := b.Type().Field(i).Name
		stays := slices.Contains(standing, f)
		if f == "From" || stays && reflect.DeepEqual(a.Field(i).Interface(), b.Field(i).Interface()) || !stays && b.Field(i).IsZero() {
			continue
		}
		words = append(words, f+" "+word(b.Field(i)))
	}
	if len(words) == 0 {
		return "(as before)"
	}
	return strings.Join(words, ", ")
}

// word is a value without what is zero in it.
func word(v reflect.Value) string {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			return "none"
		}
		return word(v.Elem())
	case reflect.Struct:
		return nonzero(v.Interface())
	case reflect.Func:
		return "changed"
	case reflect.Slice:
		var all []string
		for i := range v.Len() {
			all = append(all, word(v.Index(i)))
		}
		return "[" + strings.Join(all, "; ") + "]"
	}
	return fmt.Sprint(v.Interface())
}

// nonzero is a struct's fields that are not zero.
func nonzero(s any) string {
	v := reflect.ValueOf(s)
	var words []string
	for i := range v.NumField() {
		if f := v.Type().Field(i); f.IsExported() && !v.Field(i).IsZero() && v.Field(i).Kind() != reflect.Func {
			words = append(words, f.Name+" "+word(v.Field(i)))
		}
	}
	return "{" + strings.Join(words, " ") + "}"
}
