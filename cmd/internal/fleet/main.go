// Command fleet plays many simulated stations at the pace of the real clock, each with the
// code of the service, for packaging/metrics/many: each gives a status a minute to an MQTT
// broker, over a connection of its own, and serves its numbers.
//
//	fleet --count 1000 --broker mqtt://127.0.0.1:1883 --http 127.0.0.1:9000 --silent 50 --after 4m
//
// Their numbers are at /s/NUMBER/metrics; /targets lists them for Prometheus (HTTP service
// discovery). From the given time on the first so many stations have no fresh status: the
// broker hears that they are not alive, and there are no numbers. It reads no device
// and sets no clock; what it publishes calls itself live, so that rules see what they would
// see of real stations. Never let it reach a broker that anybody believes.
package main

import (
	"context"
	"encoding/json"
	"fmt"
	"log"
	"net"
	"net/http"
	"os"
	"os/signal"
	"strconv"
	"sync"
	"time"

	"github.com/alecthomas/kong"

	"noonmark/cmd/internal/broker"
	"noonmark/status/metrics"
)

type flags struct {
	Count  int           `default:"1000" help:"Stations."`
	Broker string        `required:"" help:"mqtt://127.0.0.1:PORT"`
	HTTP   string        `required:"" name:"http" help:"127.0.0.1:PORT"`
	Every  time.Duration `default:"1m" help:"Between two statuses of a station."`
	Silent int           `help:"So many stations fall silent …"`
	After  time.Duration `default:"4m" help:"… after so long."`
}

func main() {
	var f flags
	kong.Parse(&f)
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	l, err := net.Listen("tcp", f.HTTP)
	if err != nil {
		log.Fatal(err)
	}
	if a, ok := l.Addr().(*net.TCPAddr); !ok || !a.IP.IsLoopback() {
		log.Fatal("fleet: it listens on loopback only")
	}
	stations := begin(f)
	fmt.Println("ready")
	go http.Serve(l, handler(stations, l.Addr().String())) // ends with the process
	play(ctx, f, stations)
}

// one is a station that others see.
type one struct {
	v       *virtual
	publish *broker.Publisher

	mu   sync.Mutex
	text []byte // its numbers; nil = it is silent
}

// begin makes the stations; each has run for a while, another while each.
func begin(f flags) []*one {
	stations := make([]*one, f.Count)
	for n := range stations {
		stations[n] = &one{v: newVirtual(n), publish: broker.New(broker.Config{Broker: f.Broker, Station: name(n), Position: true, Every: f.Every})}
	}
	return stations
}

func name(n int) string { return fmt.Sprintf("camp-%04d", n) }

// play gives each station its turn, spread over the period, until ctx ends.
func play(ctx context.Context, f flags, stations []*one) {
	begun := time.Now()
	for round := 0; ; round++ {
		for n, s := range stations {
			due := begun.Add(time.Duration(round)*f.Every + time.Duration(n)*f.Every/time.Duration(len(stations)))
			select {
			case <-ctx.Done():
				return
			case <-time.After(time.Until(due)):
			}
			switch silent := n < f.Silent && time.Since(begun) > f.After; {
			case round == 0:
				s.connect(ctx)
				s.turn(f.Every)
			case silent:
				s.fall()
			default:
				s.turn(f.Every)
			}
		}
	}
}

func (s *one) connect(ctx context.Context) {
	go s.publish.Run(ctx, func(why string) {
		if why != "" && ctx.Err() == nil {
			log.Print(why)
		}
	})
}

// turn plays a period and publishes what came of it.
func (s *one) turn(period time.Duration) {
	snap := s.v.play(period)
	if err := s.publish.Put(snap, true); err != nil {
		log.Print(err)
	}
	text := metrics.Text(snap)
	s.mu.Lock()
	s.text = text
	s.mu.Unlock()
}

// fall: the station is silent from now on.
func (s *one) fall() {
	if err := s.publish.Put(nil, false); err != nil {
		log.Print(err)
	}
	s.mu.Lock()
	s.text = nil
	s.mu.Unlock()
}

// handler serves the stations' numbers, and where they are.
func handler(stations []*one, address string) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /s/{n}/metrics", func(w http.ResponseWriter, r *http.Request) {
		n, err := strconv.Atoi(r.PathValue("n"))
		if err != nil || n < 0 || n >= len(stations) {
			http.NotFound(w, r)
			return
		}
		s := stations[n]
		s.mu.Lock()
		text := s.text
		s.mu.Unlock()
		if text == nil {
			http.Error(w, "no fresh status", http.StatusServiceUnavailable)
			return
		}
		w.Header().Set("Content-Type", metrics.ContentType)
		w.Write(text)
	})
	type group struct {
		Targets []string          `json:"targets"`
		Labels  map[string]string `json:"labels"`
	}
	var groups []group
	for n := range stations {
		groups = append(groups, group{[]string{address}, map[string]string{"__metrics_path__": fmt.Sprintf("/s/%d/metrics", n), "instance": name(n)}})
	}
	mux.HandleFunc("GET /targets", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(groups)
	})
	return mux
}
