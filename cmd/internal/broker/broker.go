// Package broker publishes a station's status to an MQTT broker (OASIS MQTT 5.0),
// for whoever coordinates many stations.
//
// Statuses come in (Put, which never waits); two retained topics go out:
//
//	noonmark/STATION/status   the status as JSON, without its place unless asked for
//	noonmark/STATION/alive    "yes" while the status is fresh; else "no", also by the
//	                          last will when the connection breaks
//
// The status stays on the broker after the station fell silent: that is the last
// that was heard of it, and "alive" says that it is old. A status that cannot be sent
// is dropped; the next one is newer. Run owns the connection, in goroutines of its own.
package broker

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/paho"

	"noonmark/status"
)

// Config says where to and what.
type Config struct {
	Broker       string // mqtt://host:port or mqtts://host:port
	Station      string // one level of a topic
	Position     bool   // publish the place too
	Every        time.Duration
	Username     string
	PasswordFile string // "" = the credential, if there is one
	CAFile       string // "" = the system's certificates
	Credentials  string // the service manager's folder of credentials; "" = none
}

const (
	keepAlive   = 20               // s: a dead connection is noticed within 1.5 of it (MQTT 5.0, 3.1.2.10)
	sendFor     = 10 * time.Second // a packet that is not taken in so long is dropped
	longestWait = time.Minute      // between two tries to connect
	yes, no     = "yes", "no"
)

// A Publisher publishes. Make one with New.
type Publisher struct {
	cfg  Config
	wake chan struct{}

	mu    sync.Mutex
	alive string
	head  string // what is worth saying at once when it changes
	text  []byte // of the latest status, nil when there is none
}

// New returns a Publisher; nothing is connected before Run.
func New(cfg Config) *Publisher {
	return &Publisher{cfg: cfg, wake: make(chan struct{}, 1), alive: no}
}

// Put hands over the latest status; fresh tells whether it is of this machine's own
// clock, now. It never waits.
func (p *Publisher) Put(s *status.Snapshot, fresh bool) error {
	alive, head := no, no
	var text []byte
	if fresh {
		shown := Public(s, p.cfg.Position)
		var err error
		if text, err = json.Marshal(shown); err != nil {
			return fmt.Errorf("mqtt: %w", err)
		}
		alive, head = yes, headline(&shown)
	}
	p.mu.Lock()
	changed := head != p.head
	p.alive, p.head = alive, head
	if text != nil {
		p.text = text
	}
	p.mu.Unlock()
	if changed {
		p.ask()
	}
	return nil
}

// ask has the latest published soon.
func (p *Publisher) ask() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

// Public is what others may read of s: the judgement, and the place only if asked for.
// What concerns the station alone is left out; links are thin.
func Public(s *status.Snapshot, position bool) status.Snapshot {
	c := s.Clone()
	c.Receiver, c.Sharing, c.TimeService, c.Clock.Budget = nil, nil, nil, nil
	if !position {
		c.Position = nil
	}
	return c
}

// headline is what makes a status news: verdicts, basis, trust, and where the
// station is.
func headline(s *status.Snapshot) string {
	var b strings.Builder
	b.WriteString(s.Clock.Basis)
	for _, m := range s.Modes {
		b.WriteString("\n" + m.Mode + " " + m.Verdict)
	}
	for _, r := range s.References {
		b.WriteString("\n" + r.Name + " " + r.Trust)
	}
	if s.Position != nil {
		b.WriteString("\n" + s.Position.Locator[:min(6, len(s.Position.Locator))])
	}
	return b.String()
}

// Run connects, and publishes until ctx ends; then it says that the station leaves.
// said is told, from several goroutines, what is wrong with the connection; "" = it
// works. The error says what is wrong with the configuration.
func (p *Publisher) Run(ctx context.Context, said func(reason string)) error {
	cfg, err := p.client(said)
	if err != nil {
		return err
	}
	// The connection ends after the last word, not with ctx.
	lasting, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	conn, err := autopaho.NewConnection(lasting, cfg)
	if err != nil {
		return fmt.Errorf("mqtt: %w", err)
	}
	again := time.NewTicker(p.cfg.Every)
	defer again.Stop()
	for {
		select {
		case <-ctx.Done():
			late, cancel := context.WithTimeout(lasting, 2*time.Second)
			defer cancel()
			p.send(late, conn, "alive", []byte(no), 1)
			_ = conn.Disconnect(late)
			return nil
		case <-p.wake:
		case <-again.C:
		}
		p.publish(ctx, conn)
	}
}

// publish sends the latest.
func (p *Publisher) publish(ctx context.Context, conn *autopaho.ConnectionManager) {
	p.mu.Lock()
	alive, text := p.alive, p.text
	p.mu.Unlock()
	if text != nil {
		p.send(ctx, conn, "status", text, 0)
	}
	p.send(ctx, conn, "alive", []byte(alive), 1)
}

// send tries once. Status goes without acknowledgement: one that is late must not
// arrive after its successor.
func (p *Publisher) send(ctx context.Context, conn *autopaho.ConnectionManager, leaf string, payload []byte, qos byte) {
	ctx, cancel := context.WithTimeout(ctx, sendFor)
	defer cancel()
	_, _ = conn.Publish(ctx, &paho.Publish{Topic: p.topic(leaf), Payload: payload, QoS: qos, Retain: true})
}

func (p *Publisher) topic(leaf string) string { return "noonmark/" + p.cfg.Station + "/" + leaf }

// client is the library's configuration.
func (p *Publisher) client(said func(reason string)) (autopaho.ClientConfig, error) {
	u, err := url.Parse(p.cfg.Broker)
	if err != nil {
		return autopaho.ClientConfig{}, fmt.Errorf("mqtt: %w", err)
	}
	cfg := autopaho.ClientConfig{
		ServerUrls: []*url.URL{u}, KeepAlive: keepAlive, CleanStartOnInitialConnection: true,
		ReconnectBackoff: backOff,
		OnConnectionUp:   func(*autopaho.ConnectionManager, *paho.Connack) { said(""); p.ask() },
		OnConnectionDown: func() bool { said("the connection to " + u.Host + " was lost"); return true },
		OnConnectError:   func(err error) { said(plain(u, err)) },
		WillMessage:      &paho.WillMessage{Topic: p.topic("alive"), Payload: []byte(no), QoS: 1, Retain: true},
		ConnectUsername:  p.cfg.Username,
		ClientConfig:     paho.ClientConfig{ClientID: "noonmark-" + p.cfg.Station, PacketTimeout: sendFor},
	}
	if u.Scheme == "mqtts" {
		if cfg.TlsCfg, err = encryption(u, p.cfg.CAFile); err != nil {
			return cfg, err
		}
	}
	if cfg.ConnectPassword, err = password(p.cfg); err != nil {
		return cfg, err
	}
	if len(cfg.ConnectPassword) > 0 && u.Scheme != "mqtts" && !onThisMachine(u.Hostname()) {
		said(clear)
	}
	cfg.AttemptConnection = dial
	cfg.ConnectPacketBuilder = func(c *paho.Connect, _ *url.URL) (*paho.Connect, error) {
		if c.Properties == nil {
			c.Properties = &paho.ConnectProperties{}
		}
		c.Properties.MaximumPacketSize = paho.Uint32(maxPacket)
		return c, nil
	}
	return cfg, nil
}

// backOff is the wait before a try to connect: 1, 2, 4 … 60 s. The first waits, too:
// a broker that takes us and throws us out again must not be asked in a loop.
func backOff(attempt int) time.Duration {
	return min(time.Second<<min(attempt, 6), longestWait)
}

// plain words why a connection cannot be made.
func plain(u *url.URL, err error) string {
	var refused *autopaho.ConnackError
	if errors.As(err, &refused) {
		return fmt.Sprintf("%s refuses us (reason %d %s): check mqtt.username and mqtt.password_file, and that it speaks MQTT 5",
			u.Host, refused.ReasonCode, refused.Reason)
	}
	return fmt.Sprintf("%s: %v: check mqtt.broker, and the network", u.Host, err)
}
