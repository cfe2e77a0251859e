package api

import (
	"context"
	"log/slog"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"
)

const pingTime = 2 * time.Second

// healthRoutes answer without a key: /healthz while the process lives, /readyz
// while the database answers.
func (s *Server) healthRoutes() {
	s.echo.GET("/healthz", func(c echo.Context) error { return c.String(http.StatusOK, "alive\n") })
	s.echo.GET("/readyz", func(c echo.Context) error {
		ctx, cancel := context.WithTimeout(c.Request().Context(), pingTime)
		defer cancel()
		if err := s.store.Ping(ctx); err != nil {
			s.log.WarnContext(ctx, "not ready", slog.String("error", err.Error()))
			return c.String(http.StatusServiceUnavailable, "database does not answer\n")
		}
		return c.String(http.StatusOK, "ready\n")
	})
}
