package service

import (
	"context"
	"crypto/rand"
	"net"
	"sync"

	"noonmark/cmd/internal/config"
	"noonmark/cmd/internal/pin"
	"noonmark/cmd/internal/station"
	"noonmark/cmd/internal/web"
	"noonmark/status/page"
)

// serveOthers sets going what other programs and devices ask: the page, the time
// service, the sharing of sentences; and what people on the station itself tell.
// None of it is needed to judge the clock.
func (s *service) serveOthers(ctx context.Context, set config.Config, all *sync.WaitGroup) {
	if l := s.openControl(s.publish.Dir()); l != nil {
		all.Go(func() { s.serveControl(ctx, l) })
	}
	if s.sharer != nil {
		all.Go(func() { s.sharer.Run(ctx, s.shareProblem) })
	}
	timed := s.openTimeService(set.Publish.TimeService)
	if l := s.openPage(set.Publish.HTTP); l != nil {
		all.Go(func() { s.watchFacts(ctx) })
		all.Go(func() { <-ctx.Done(); web.HideNumber(s.publish.Dir()) })
		all.Go(func() {
			if err := web.Serve(ctx, l, web.Site(s.page)); err != nil {
				s.log.Error("page", "reason", err)
			}
		})
	}
	if timed {
		for i := range s.timeServer.conns {
			all.Go(func() {
				if err := s.timeServer.serve(ctx, i); err != nil {
					s.log.Error("time service", "reason", err)
				}
			})
		}
	}
}

// openPage opens the page's address, if one is set. Without it the clock is
// judged all the same.
func (s *service) openPage(address string) net.Listener {
	if address == "" {
		return nil
	}
	l, err := web.Listen(address, false)
	if err != nil {
		s.warn("no page", err.Error()+": free the address or set publish.http")
		return nil
	}
	var hand page.Hand
	if s.byHand = s.openHand(); s.byHand != nil {
		hand = s.byHand
	}
	s.page = web.NewPage(1, hand)
	s.openNight()
	s.log.Info("page", "address", web.PageURL(l))
	return l
}

// openHand lets things be done by hand at the page, behind a new number. Without a
// place to show it, nobody could know it.
func (s *service) openHand() *web.ByHand {
	guard, err := pin.New(rand.Reader)
	if err == nil {
		err = web.ShowNumber(s.publish.Dir(), guard.PIN())
	}
	if err != nil {
		s.warn("nothing can be done by hand at the page", err.Error())
		return nil
	}
	camp := s.timeServer
	ours := func(address string) bool { return web.OwnAddress(address) || camp != nil && camp.served(address) }
	return web.NewByHand(web.HandConfig{Unlock: web.Opener(guard), Owner: s.events, Station: func() *station.Station { return s.station }, Live: true, Ours: ours, Gives: camp != nil})
}
