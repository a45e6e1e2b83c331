package broker

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func file(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestPassword: with the right one the broker takes us; with a wrong one the reason
// is said, and nothing else happens.
func TestPassword(t *testing.T) {
	t.Parallel() // it waits more than it works
	if _, err := exec.LookPath("mosquitto_passwd"); err != nil {
		t.Skip("mosquitto_passwd is not installed")
	}
	dir := t.TempDir()
	users := file(t, dir, "users", "camp:right\n")
	if out, err := exec.Command("mosquitto_passwd", "-U", users).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	m := newBroker(t, "allow_anonymous false\npassword_file "+users+"\n")
	cfg := Config{Broker: "mqtt://" + m.addr, Username: "camp", PasswordFile: file(t, dir, "wrong", "wrong\n")}
	_, why, stop := run(t, cfg)
	until(t, "the refusal", func() bool { return why.have("check mqtt.username") })
	stop()
	cfg.PasswordFile = file(t, dir, "right", "right\n")
	p, _, _ := run(t, cfg)
	p.Put(snapshot(t), true)
	until(t, "the status", func() bool { return m.retained(t, "-u", "camp", "-P", "right")["noonmark/camp-1/alive"] == "yes" })
}

// TestEncrypted: with the broker's certificate the connection is made; with the
// system's alone it is not.
func TestEncrypted(t *testing.T) {
	t.Parallel() // it waits more than it works
	dir := t.TempDir()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "camp"}, NotBefore: now.Add(-time.Hour), NotAfter: now.Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalECPrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	cert := file(t, dir, "cert.pem", string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
	secret := file(t, dir, "key.pem", string(pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: keyDER})))
	m := newBroker(t, "allow_anonymous true\ncertfile "+cert+"\nkeyfile "+secret+"\n")
	_, why, stop := run(t, Config{Broker: "mqtts://" + m.addr})
	until(t, "the distrust", func() bool { return why.have("certificate") })
	stop()
	p, _, _ := run(t, Config{Broker: "mqtts://" + m.addr, CAFile: cert})
	p.Put(snapshot(t), true)
	until(t, "the status", func() bool { return m.retained(t, "--cafile", cert)["noonmark/camp-1/alive"] == "yes" })
}

// TestMissingFiles are errors of the configuration, said at once.
func TestMissingFiles(t *testing.T) {
	for _, cfg := range []Config{
		{Broker: "mqtt://127.0.0.1:1", PasswordFile: "/nonexistent"},
		{Broker: "mqtts://127.0.0.1:1", CAFile: "/nonexistent"},
		{Broker: "mqtts://127.0.0.1:1", CAFile: "/dev/null"},
	} {
		cfg.Station, cfg.Every = "x", time.Second
		if err := New(cfg).Run(t.Context(), func(string) {}); err == nil || !strings.HasPrefix(err.Error(), "mqtt: ") {
			t.Errorf("%+v: %v", cfg, err)
		}
	}
}
