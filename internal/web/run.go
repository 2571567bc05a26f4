package web

import (
	"context"
	"crypto/tls"
	"net"
	"sync"

	"rinsate/internal/web/kit"
)

// Run serves the pages on a listener until the context ends, then lets open requests finish. With a
// certificate the listener speaks TLS.
func (s *Server) Run(ctx context.Context, l net.Listener, certificate *tls.Certificate) error {
	if certificate != nil {
		l = tls.NewListener(l, &tls.Config{Certificates: []tls.Certificate{*certificate}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}})
	}
	watching, stop := context.WithCancel(ctx)
	var beside sync.WaitGroup
	beside.Go(func() { s.Watch(watching) })
	defer beside.Wait()
	defer s.imports.end()
	defer stop()
	return kit.Listen(ctx, l, s.Handler(), s.Log, s.EndLive) // live pages have no end of their own
}
