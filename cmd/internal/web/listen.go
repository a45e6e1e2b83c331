package web

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"strings"
	"time"
)

// Limits of the page's server: many idle or slow readers must cost the station
// nothing it needs.
const (
	maxHeaderBytes = 8 << 10
	HeaderTimeout  = 5 * time.Second
	requestTimeout = 10 * time.Second
	idleTimeout    = 30 * time.Second
	shutdownWait   = 2 * time.Second
)

// Listen opens the page's address. With spare, a port in use is no error: any
// free one of the same host is taken.
func Listen(address string, spare bool) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	if err != nil && spare {
		host, _, _ := net.SplitHostPort(address)
		l, err = net.Listen("tcp", net.JoinHostPort(host, "0"))
	}
	if err != nil {
		return nil, fmt.Errorf("page: %w", err)
	}
	return l, nil
}

// PageURL is the address to type for a listener.
func PageURL(l net.Listener) string {
	host, port, err := net.SplitHostPort(l.Addr().String())
	if ip := net.ParseIP(host); err == nil && ip != nil && ip.IsUnspecified() {
		host = "localhost"
	}
	return "http://" + net.JoinHostPort(host, port) + "/"
}

// Serve serves h on l until ctx ends.
func Serve(ctx context.Context, l net.Listener, h http.Handler) error {
	s := &http.Server{
		Handler:           ownHost(http.NewCrossOriginProtection().Handler(h)),
		ReadHeaderTimeout: HeaderTimeout, ReadTimeout: requestTimeout, WriteTimeout: requestTimeout, IdleTimeout: idleTimeout,
		MaxHeaderBytes: maxHeaderBytes,
		BaseContext:    func(net.Listener) context.Context { return ctx },
	}
	stop := context.AfterFunc(ctx, func() {
		late, cancel := context.WithTimeout(context.Background(), shutdownWait)
		defer cancel()
		if s.Shutdown(late) != nil {
			s.Close()
		}
	})
	defer stop()
	if err := s.Serve(newFair(l)); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("page: %w", err)
	}
	return nil
}

// ownHost answers only for names that are this machine's: a foreign name that
// was made to point here (rebinding) would let a foreign page read ours.
func ownHost(h http.Handler) http.Handler {
	name, _ := os.Hostname()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		host := r.Host
		if h, _, err := net.SplitHostPort(host); err == nil {
			host = h
		}
		host = strings.ToLower(strings.TrimSuffix(strings.Trim(host, "[]"), "."))
		switch {
		case net.ParseIP(host) != nil, host == "localhost", name != "" && (host == strings.ToLower(name) || host == strings.ToLower(name)+".local"):
			h.ServeHTTP(w, r)
		default:
			http.Error(w, "This name is not the station's: use its address or its own name.", http.StatusMisdirectedRequest)
		}
	})
}
