package main

import (
	"context"
	"sync"

	"noonmark/cmd/internal/config"
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
		all.Go(func() { <-ctx.Done(); hideNumber(s.publish.Dir()) })
		all.Go(func() {
			if err := servePage(ctx, l, site(s.page)); err != nil {
				s.log.Error("page", "reason", err)
			}
		})
	}
	if timed {
		for i := range s.camp.conns {
			all.Go(func() {
				if err := s.camp.serve(ctx, i); err != nil {
					s.log.Error("time service", "reason", err)
				}
			})
		}
	}
}
