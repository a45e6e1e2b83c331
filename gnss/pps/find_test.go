package pps

import (
	"errors"
	"strings"
	"testing"
	"testing/fstest"
)

func tree(devices map[string][2]string) fstest.MapFS {
	fs := fstest.MapFS{"class/tty/ttyS0/type": {Data: []byte("4\n")}}
	for dev, d := range devices {
		fs["class/pps/"+dev+"/name"] = &fstest.MapFile{Data: []byte(d[0] + "\n")}
		fs["class/pps/"+dev+"/path"] = &fstest.MapFile{Data: []byte(d[1] + "\n")}
	}
	return fs
}

func TestChoose(t *testing.T) {
	for _, row := range []struct {
		name    string
		devices map[string][2]string
		tty     string
		want    string // "" = none
		say     string
	}{
		{"none there", nil, "/dev/ttyS0", "", "no such"},
		{"the kernel's own timer is no pulse", map[string][2]string{"pps0": {"ktimer", ""}}, "/dev/ttyS0", "", "no such"},
		{"nor is a network card's", map[string][2]string{"pps0": {"ptp0", ""}}, "/dev/ttyS0", "", "no such"},
		{"another port's", map[string][2]string{"pps0": {"ttyS1", "/dev/ttyS1"}}, "/dev/ttyS0", "", "no such"},
		{"a receiver over the network has none", map[string][2]string{"pps0": {"pps@12.-1", ""}}, "", "", "no such"},
		{"two pins", map[string][2]string{"pps0": {"pps@12.-1", ""}, "pps1": {"pps@4.-1", ""}}, "/dev/ttyS0", "", "receiver.pps"},
		{"a pin", map[string][2]string{"pps0": {"pps@12.-1", ""}}, "/dev/ttyACM0", "/dev/pps0", ""},
		{"a pin and the timer", map[string][2]string{"pps0": {"ktimer", ""}, "pps1": {"pps@12.-1", ""}}, "/dev/ttyACM0", "/dev/pps1", ""},
		{"the port's own comes first", map[string][2]string{"pps0": {"pps@12.-1", ""}, "pps1": {"ttyS0", "/dev/ttyS0"}}, "/dev/ttyS0", "/dev/pps1", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			all, err := List(tree(row.devices))
			if err != nil || len(all) != len(row.devices) {
				t.Fatalf("%d devices, %v", len(all), err)
			}
			got, err := Choose(all, row.tty)
			if got.Path != row.want || (err == nil) != (row.want != "") {
				t.Fatalf("got %+v, %v", got, err)
			}
			if err != nil && !strings.Contains(err.Error(), row.say) {
				t.Errorf("error %q does not say %q", err, row.say)
			}
			if strings.Contains(row.say, "no such") && !errors.Is(err, ErrAbsent) {
				t.Errorf("%v is not ErrAbsent", err)
			}
		})
	}
}
