module noonmark

go 1.26.0

require (
	github.com/BurntSushi/toml v1.6.0 // indirect
	github.com/adrianmo/go-nmea v1.10.0 // indirect
	github.com/alecthomas/kong v1.17.0 // indirect
	github.com/beevik/ntp v1.6.0 // indirect
	github.com/coreos/go-systemd/v22 v22.7.0 // indirect
	github.com/creack/pty v1.1.24 // indirect
	github.com/google/renameio/v2 v2.0.2 // indirect
	github.com/rogpeppe/go-internal v1.16.0 // indirect
	github.com/santhosh-tekuri/jsonschema/v6 v6.0.3 // indirect
	github.com/tidwall/geodesic v1.52.4 // indirect
	go.bug.st/serial v1.8.0 // indirect
	golang.org/x/exp/typeparams v0.0.0-20231108232855-2478ac86f678 // indirect
	golang.org/x/mod v0.41.0 // indirect
	golang.org/x/net v0.59.0 // indirect
	golang.org/x/sync v0.23.0 // indirect
	golang.org/x/sys v0.50.0 // indirect
	golang.org/x/text v0.42.0 // indirect
	golang.org/x/tools v0.51.0 // indirect
	honnef.co/go/tools v0.8.2 // indirect
	pgregory.net/rapid v1.3.0 // indirect
)

tool honnef.co/go/tools/cmd/staticcheck
