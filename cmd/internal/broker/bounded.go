package broker

import (
	"context"
	"crypto/tls"
	"fmt"
	"net"
	"net/url"

	"github.com/eclipse/paho.golang/autopaho"
	"github.com/eclipse/paho.golang/packets"
)

// maxPacket is the largest packet taken from a broker, bytes after its fixed header. We
// subscribe to nothing: what comes are acknowledgements and reasons. The library would
// make room for whatever length a broker names, up to 256 MB, before a byte of it has
// come; so the length is checked on the connection, before the library sees it. The
// broker is told as well (MQTT 5.0, 3.1.2.11.4).
const maxPacket = 16 << 10

// dial connects for the library.
func dial(ctx context.Context, cfg autopaho.ClientConfig, u *url.URL) (net.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, sendFor)
	defer cancel()
	var c net.Conn
	var err error
	if u.Scheme == "mqtts" {
		c, err = (&tls.Dialer{Config: cfg.TlsCfg}).DialContext(ctx, "tcp", u.Host)
	} else {
		c, err = (&net.Dialer{}).DialContext(ctx, "tcp", u.Host)
	}
	if err != nil {
		return nil, err
	}
	return packets.NewThreadSafeConn(&bounded{Conn: c}), nil
}

// bounded reads packets through and ends at the first that names too large a length.
// One goroutine reads.
type bounded struct {
	net.Conn
	frame
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.Conn.Read(p)
	if long := b.follow(p[:n]); long != nil {
		return 0, long
	}
	return n, err
}

// frame follows the fixed headers of a stream of packets (MQTT 5.0, 2.1): one byte of
// type, then the remaining length, 7 bits a byte, the lowest first, at most 4 bytes.
type frame struct {
	body  uint32 // bytes of the present packet still to come
	inLen int    // bytes of its length read
	size  uint32
	begun bool // its type was read, its length not yet
}

func (f *frame) follow(p []byte) error {
	for len(p) > 0 {
		switch {
		case f.body > 0:
			n := min(uint32(len(p)), f.body)
			f.body -= n
			p = p[n:]
		case !f.begun:
			f.begun, f.inLen, f.size = true, 0, 0
			p = p[1:]
		default:
			f.size |= uint32(p[0]&0x7f) << (7 * f.inLen)
			f.inLen++
			more := p[0]&0x80 != 0
			if f.size > maxPacket || more && f.inLen == 4 {
				return fmt.Errorf("the broker sends a packet of more than %d bytes: that is no broker for this, check mqtt.broker", maxPacket)
			}
			if !more {
				f.begun, f.body = false, f.size
			}
			p = p[1:]
		}
	}
	return nil
}
