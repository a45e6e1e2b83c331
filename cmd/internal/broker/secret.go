package broker

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"

	"noonmark/status/safefile"
)

// Credential is the name under which the service manager hands the password over
// (LoadCredential=, systemd.exec(5)).
const Credential = "mqtt-password"

const (
	maxPassword     = 1 << 10 // bytes
	maxCertificates = 1 << 20
)

// clear is said where a password would be readable on its way.
const clear = "the password goes over the network in clear, for everybody there to read: use mqtts:// in mqtt.broker"

// password is what the file of the settings holds, or else the credential; nil = none.
func password(cfg Config) ([]byte, error) {
	path := cfg.PasswordFile
	if path == "" && cfg.Credentials != "" {
		path = filepath.Join(cfg.Credentials, Credential)
	}
	if path == "" {
		return nil, nil
	}
	b, err := safefile.ReadLinked(path, maxPassword)
	if cfg.PasswordFile == "" && errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("mqtt: password: %w", err)
	}
	if text := strings.TrimRight(string(b), "\r\n"); text != "" {
		return []byte(text), nil
	}
	return nil, nil
}

// encryption trusts the authorities of caFile, or the system's.
func encryption(u *url.URL, caFile string) (*tls.Config, error) {
	c := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: u.Hostname()}
	if caFile == "" {
		return c, nil
	}
	pem, err := safefile.ReadLinked(caFile, maxCertificates)
	if err != nil {
		return nil, fmt.Errorf("mqtt: certificates: %w", err)
	}
	c.RootCAs = x509.NewCertPool()
	if !c.RootCAs.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("mqtt: %s holds no certificate in PEM", caFile)
	}
	return c, nil
}

// onThisMachine: what is sent there leaves no wire.
func onThisMachine(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// CredentialsOf is the folder of credentials that the service manager prepared, or "".
func CredentialsOf() string { return os.Getenv("CREDENTIALS_DIRECTORY") }
