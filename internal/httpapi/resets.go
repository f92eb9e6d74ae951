package httpapi

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// Bounds for asking for links by mail, beside the three an hour that one member can have.
const (
	resetsEvery = time.Minute
	resetsBurst = 10 // from one address
)

// PostKey seals the secrets of webhooks, for the pages.
func (s *Server) PostKey() ledger.PostKey { return s.postKey }

// SendsMail says whether invitations, links for a new password and news go out by mail.
func (s *Server) SendsMail() bool { return s.mails }

// WebhookAllowed refuses an address that would not be called anyway.
func (s *Server) WebhookAllowed(address string) error {
	_, err := s.webhookFrom(api.NewWebhook{Url: address})
	return err
}

// AskReset mails a link to set a new password, within the limits for guessing. It answers the same for every e-mail.
func (s *Server) AskReset(c echo.Context, email string) error {
	ctx := c.Request().Context()
	wait, err := s.login.Attempt(ctx, "reset "+c.RealIP(), resetsEvery, resetsBurst)
	if err != nil {
		return err
	}
	if wait > 0 {
		return tooMany("Too many links were asked for from here.", wait)
	}
	return s.login.AskReset(ctx, s.postKey, email)
}

// StopMail ends the news by mail of a member, by the link in their mails.
func (s *Server) StopMail(ctx context.Context, id, secret string) error {
	member, err := uuid.Parse(id)
	if err != nil {
		return ledger.ErrNotFound
	}
	return s.login.StopMail(ctx, s.postKey, member, secret)
}
