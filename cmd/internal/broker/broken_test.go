package broker

import (
	"net"
	"sync"
	"testing"
	"time"
)

// TestLastWill: the connection breaks without a goodbye, and the broker itself says
// that the station is silent.
func TestLastWill(t *testing.T) {
	t.Parallel() // it waits more than it works
	m := newBroker(t, "")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var ends []net.Conn
	go func() { // a link that can be cut
		for {
			a, err := l.Accept()
			if err != nil {
				return
			}
			b, err := net.Dial("tcp", m.addr)
			if err != nil {
				a.Close()
				continue
			}
			mu.Lock()
			ends = append(ends, a, b)
			mu.Unlock()
			go pump(a, b)
			go pump(b, a)
		}
	}()
	p, _, _ := run(t, Config{Broker: "mqtt://" + l.Addr().String()})
	p.Put(snapshot(t), true)
	until(t, "the first status", func() bool { return m.retained(t)["noonmark/camp-1/alive"] == "yes" })
	l.Close()
	mu.Lock()
	for _, c := range ends {
		c.Close()
	}
	mu.Unlock()
	until(t, "the last will", func() bool { return m.retained(t)["noonmark/camp-1/alive"] == "no" })
}

func pump(to, from net.Conn) {
	buf := make([]byte, 4096)
	for {
		n, err := from.Read(buf)
		if err != nil {
			to.Close()
			return
		}
		if _, err := to.Write(buf[:n]); err != nil {
			return
		}
	}
}

// TestNoBroker: nobody answers, or somebody who never does; nothing waits, and the
// end is soon.
func TestNoBroker(t *testing.T) {
	mute, err := net.Listen("tcp", "127.0.0.1:0") // takes connections, says nothing
	if err != nil {
		t.Fatal(err)
	}
	defer mute.Close()
	for _, addr := range []string{"127.0.0.1:1", mute.Addr().String()} {
		p, _, stop := run(t, Config{Broker: "mqtt://" + addr})
		for range 100 {
			p.Put(snapshot(t), true)
		}
		time.Sleep(1500 * time.Millisecond)
		begin := time.Now()
		stop()
		if d := time.Since(begin); d > 5*time.Second {
			t.Errorf("%s: took %v to end", addr, d)
		}
	}
}
