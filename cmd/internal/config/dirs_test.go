package config

import (
	"reflect"
	"testing"
)

func TestDirs(t *testing.T) {
	const none = "" // an error
	for _, tt := range []struct {
		name       string
		flag       string
		uid        int
		env        map[string]string
		run, state string
		read       []string
	}{
		{name: "a user without an environment", uid: 1000, run: none, state: none, read: []string{"/run/noonmark"}},
		{name: "relative ones are ignored", uid: 1000,
			env: map[string]string{"XDG_RUNTIME_DIR": "run", "XDG_STATE_HOME": "state", "HOME": "/home/op", "RUNTIME_DIRECTORY": "x"},
			run: none, state: "/home/op/.local/state/noonmark", read: []string{"/run/noonmark"}},
		{name: "a user", uid: 1000,
			env: map[string]string{"XDG_RUNTIME_DIR": "/run/user/1000", "XDG_STATE_HOME": "/s", "HOME": "/home/op"},
			run: "/run/user/1000/noonmark", state: "/s/noonmark", read: []string{"/run/noonmark", "/run/user/1000/noonmark"}},
		{name: "root", uid: 0, env: map[string]string{"HOME": "/root"},
			run: "/run/noonmark", state: "/var/lib/noonmark", read: []string{"/run/noonmark"}},
		{name: "a service, several directories", uid: 990,
			env: map[string]string{"RUNTIME_DIRECTORY": "/run/noonmark:/run/b", "STATE_DIRECTORY": "/var/lib/noonmark:/c"},
			run: "/run/noonmark", state: "/var/lib/noonmark", read: []string{"/run/noonmark"}},
		{name: "flags win", flag: "/tmp/x/", uid: 0,
			env: map[string]string{"RUNTIME_DIRECTORY": "/run/a", "STATE_DIRECTORY": "/b"},
			run: "/tmp/x", state: "/tmp/x", read: []string{"/tmp/x/"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			e := Environment{Getenv: func(k string) string { return tt.env[k] }, UID: tt.uid}
			check := func(what, got string, err error, want string) {
				t.Helper()
				if got != want || (err != nil) != (want == none) {
					t.Errorf("%s: got %q, %v; want %q", what, got, err, want)
				}
			}
			run, err := e.RunDir(tt.flag)
			check("run", run, err, tt.run)
			state, err := e.StateDir(tt.flag)
			check("state", state, err, tt.state)
			if got := e.ReadDirs(tt.flag); !reflect.DeepEqual(got, tt.read) {
				t.Errorf("read: got %q, want %q", got, tt.read)
			}
		})
	}
}
