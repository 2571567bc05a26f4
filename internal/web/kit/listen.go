package kit

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"time"
)

// Limits of time and size of a server for these pages. Live pages lift the one for writing.
const (
	readTimeout  = 30 * time.Second
	writeTimeout = 60 * time.Second
	idleTimeout  = 2 * time.Minute
	headerLimit  = 32 << 10
	// lastWords is how long requests may go on after the server was told to end.
	lastWords = 10 * time.Second
)

// Listen serves a handler on a listener until the context ends, calls ending, and then lets open requests
// finish.
func Listen(ctx context.Context, l net.Listener, h http.Handler, log *slog.Logger, ending func()) error {
	server := &http.Server{
		Handler: h, ReadHeaderTimeout: readTimeout, ReadTimeout: readTimeout,
		WriteTimeout: writeTimeout, IdleTimeout: idleTimeout, MaxHeaderBytes: headerLimit,
		ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
	server.RegisterOnShutdown(ending)
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastWords)
	defer cancel()
	err := server.Shutdown(last)
	if errors.Is(err, context.DeadlineExceeded) {
		err = server.Close() // whoever has not finished by now never will
	}
	return err
}
