// Package web serves the pages: server-rendered, of our own look, usable without script, from a phone to a wide screen,
// in light and dark. Pages read through the same row-level security as the interface and decide through the same ledger;
// what the record holds can be read and done there too. Only saved views and changing many specs at once are the pages' own.
package web

import (
	"context"
	"embed"
	"fmt"
	"io/fs"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

//go:embed templates/*.html
var templateFiles embed.FS

//go:embed static/*
var staticFiles embed.FS

// policy lets pages load their own style and pictures, and post to themselves; nothing else.
const policy = "default-src 'none'; img-src 'self'; style-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"

// Pages are the pages over one service.
type Pages struct {
	store   *ledger.Store
	login   *ledger.Login
	storage *storage.Store
	server  *httpapi.Server
	pages   map[string]*copies
}

// Mount puts the pages on the service's own server.
func Mount(store *ledger.Store, login *ledger.Login, objects *storage.Store) func(e *echo.Echo, s *httpapi.Server) error {
	return func(e *echo.Echo, s *httpapi.Server) error {
		p := &Pages{store: store, login: login, storage: objects, server: s, pages: map[string]*copies{}}
		if err := p.readTemplates(); err != nil {
			return fmt.Errorf("web: %w", err)
		}
		static, err := fs.Sub(staticFiles, "static")
		if err != nil {
			return fmt.Errorf("web: %w", err)
		}
		e.GET("/static/*", p.shown(cached(http.StripPrefix("/static/", http.FileServerFS(static)))), squeezed)

		for _, name := range []string{"viewer.js", "deliver.js", "hash.js", "live.js", "review.js", "turn.js", "compare.js"} {
			e.GET("/static/"+name, p.shown(bundle(name)), squeezed)
		}

		open := e.Group("", squeezed, p.shown, readForm, s.Open)
		open.GET("/login", p.loginForm)
		open.POST("/login", p.logIn)
		open.POST("/language", p.chooseLanguage)
		open.GET("/language", func(c echo.Context) error { return c.Redirect(http.StatusSeeOther, "/login") })
		open.GET("/reset", p.askResetForm)
		open.POST("/reset", p.askReset)
		open.GET("/reset/:secret", p.resetForm)
		open.POST("/reset/:secret", p.reset)
		e.Group("", p.shown).GET("/mail/stop/:member/:secret", p.stopMailForm)
		e.Group("", p.shown).POST("/mail/stop/:member/:secret", p.stopMail) // mail programs post here, from anywhere (RFC 8058)
		open.GET("/join/:secret", p.joinForm)
		open.POST("/join/:secret", p.join)
		open.GET("/join/:secret/with", p.joinWith)
		open.GET("/login/with/:id", p.loginWith)
		open.GET("/login/with/:id/return", p.loginReturned)

		in := e.Group("", squeezed, p.shown, readForm, s.Session(p.loggedOut), p.proving)
		in.GET("/proof", p.proved)
		in.GET("/", p.work)
		in.GET("/orders", p.orders)
		in.GET("/orders/new", p.newOrder)
		in.POST("/orders/new", p.placeOrder)
		in.GET("/orders/:id/list", p.propList)
		in.GET("/orders/:id/prop", p.oneProp)
		in.POST("/orders/:id/prop", p.orderOne)
		in.GET("/payables", p.payables)
		in.GET("/income", p.income)
		in.GET("/figures", p.figures)
		in.GET("/storage", p.stored)
		in.POST("/storage/limits", p.limit)
		in.GET("/projects", p.projects)
		in.GET("/projects/:id", p.project)
		for form, do := range map[string]echo.HandlerFunc{"/orders/:id/calendar": p.pinCalendar, "/orders/:id/cancel": p.cancelMilestone, "/orders/:id/hold": p.endHold} {
			in.POST(form, do)
			in.GET(form, toItsPage)
		}
		in.GET("/orders/:id", p.order)
		in.GET("/props", p.props)
		in.GET("/props/export", p.exportProps)
		in.GET("/props/spec", p.bulkSpec)
		in.POST("/props/spec", p.changeSpecs)
		in.GET("/specs", p.waitingSpecs)
		in.POST("/specs", p.acknowledgeTogether)
		in.POST("/props/views", p.saveView)
		in.GET("/props/views", func(c echo.Context) error { return c.Redirect(http.StatusSeeOther, "/props") })
		in.POST("/props/views/:id/away", p.putViewAway)
		in.GET("/props/:id", p.prop)
		in.GET("/props/:id/deliver", p.deliver)
		in.GET("/props/:id/spec", p.specDraft)
		in.POST("/props/:id/spec", p.draftSpec)
		in.POST("/props/:id/roles", p.roles)
		in.GET("/orders/:id/deliver", p.deliverBatch)
		in.GET("/capacity", p.capacity)
		in.POST("/capacity", p.sayCapacity)
		in.GET("/questions", p.questions)
		in.GET("/questions/:id", p.question)
		in.GET("/orders/:id/references", p.references)
		in.GET("/references/:id", p.referencePack)
		in.GET("/references/:id/files/:file", p.referenceFile)
		in.GET("/inspections/:id/thumb/:name", p.thumbnail)
		in.GET("/deliveries/:id/progress", p.progress)
		own := e.Group("", squeezed, p.shown, s.Session(p.loggedOut)) // these read their own, larger form
		own.POST("/orders/:id/references", p.publishReferences)
		own.POST("/orders/:id/list", p.orderProps)
		in.GET("/specs/:id", p.spec)
		in.GET("/specs/:id/document", p.specDocument)
		in.GET("/programs/:name", p.program)
		in.GET("/deliveries/:id", p.delivery)
		in.GET("/deliveries/:id/view", p.view)
		in.GET("/deliveries/:id/certificate", p.certificate)
		in.GET("/deliveries/:id/issues", p.issueReport)
		in.GET("/permits", p.permits)
		in.GET("/permits/:id", p.permitOne)
		in.POST("/permits/:id/decision", p.decidePermit)
		in.GET("/permits/:id/decision", toItsPage)
		in.GET("/review", p.review)
		in.GET("/review/:id", p.reviewOne)
		in.POST("/review/:id/decision", p.decideOne)
		in.POST("/review/:id/hold", p.holdOne)
		in.POST("/review/:id/tick", p.tickNote)
		in.POST("/review/decisions", p.decideMany)
		in.POST("/review/send", p.sendPending)
		in.POST("/review/undo", p.undoPending)
		in.POST("/review/saved/removal", p.dropNote)
		for _, form := range []string{"/review/decisions", "/review/send", "/review/undo", "/review/saved/removal"} {
			in.GET(form, func(c echo.Context) error { return c.Redirect(http.StatusSeeOther, "/review") })
		}
		for _, form := range []string{"decision", "hold", "tick"} {
			in.GET("/review/:id/"+form, toItsPage)
		}
		in.GET("/people", p.people)
		in.GET("/account", p.account)
		in.GET("/account/mail", p.mail)
		in.POST("/account/mail", p.chooseMail)
		in.GET("/account/webhooks", p.webhooks)
		in.GET("/account/webhooks/:id", p.webhook)
		in.POST("/logout", p.logOut)
		in.POST("/account/token/:id/revocation", p.revokeToken)
		in.GET("/doors", p.doors)
		in.GET("/access", p.access)
		in.POST("/doors/session/:id/revocation", p.endSession)
		in.POST("/doors/others/revocation", p.endOtherSessions)
		in.POST("/doors/provider", p.setProvider)
		in.GET("/doors/provider", toItsPage)
		in.POST("/doors/provider/revocation", p.removeProvider)
		for form, do := range map[string]echo.HandlerFunc{
			"/deliveries/:id/decision": p.decide, "/deliveries/:id/concession": p.concede, "/deliveries/:id/note": p.note, "/deliveries/:id/reply": p.note, "/deliveries/:id/resolution": p.resolve, "/deliveries/:id/reinspection": p.reinspect,
			"/specs/:id/acknowledge": p.acknowledge, "/people/invitation": p.invite, "/people/vendor": p.takeOn,
			"/props/:id/question": p.ask, "/props/:id/permit": p.askPermit, "/props/:id/withdrawal": p.withdrawPermit, "/props/:id/change": p.answerChange, "/props/:id/offer": p.offerChange,
			"/props/:id/origin": p.declareOrigin, "/props/:id/reassignment": p.reassign,
			"/questions/:id/reply": p.reply, "/references/:id/secrecy": p.acknowledgeSecrecy, "/references/:id/acknowledge": p.acknowledgePack,
			"/account/webhooks/new": p.makeWebhook, "/account/webhooks/:id/change": p.changeWebhook, "/account/webhooks/:id/ping": p.pingWebhook, "/account/webhooks/:id/replay": p.replayWebhook,
			"/account/webhooks/:id/secret": p.rotateWebhook, "/account/webhooks/:id/removal": p.removeWebhook,
			"/account/reading": p.setReading, "/account/password": p.changePassword, "/account/token": p.makeToken,
		} {
			in.POST(form, do)
			in.GET(form, toItsPage)
		}
		// Whatever else is asked for is answered as something hidden is.
		nothing := func(echo.Context) error { return ledger.ErrNotFound }
		e.RouteNotFound("/*", p.shown(s.Session(nothing)(nothing)))
		return nil
	}
}

// toItsPage leads from the address of a form, which stands in the browser after a refusal, to the page that it is on.
func toItsPage(c echo.Context) error {
	at := c.Request().URL.Path
	return c.Redirect(http.StatusSeeOther, at[:strings.LastIndexByte(at, '/')])
}

// cached serves files whose address never changes its meaning within one release.
func cached(h http.Handler) echo.HandlerFunc {
	return func(c echo.Context) error {
		c.Response().Header().Set(echo.HeaderCacheControl, "public, max-age=300")
		h.ServeHTTP(c.Response(), c.Request())
		return nil
	}
}

// shown turns what went wrong under a page into a page.
func (p *Pages) shown(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		err := next(c)
		if err == nil || c.Response().Committed {
			return err
		}
		t := p.server.Tell(c, err)
		return p.render(c, t.Status, "problem", frame{Title: p.reader(c).Again(t.Title)}, map[string]any{"Told": t, "Request": c.Response().Header().Get(echo.HeaderXRequestID)})
	}
}

// pageTime bounds the work for one page.
const pageTime = 15 * time.Second

// as runs a read or an act for the caller of a page.
func as[T any](c echo.Context, p *Pages, fn func(ctx context.Context, tx *ledger.Tx) (T, error)) (out T, err error) {
	if m := c.Request().Method; m == http.MethodGet || m == http.MethodHead {
		return within(c, p.store.Reading, fn)
	}
	return within(c, p.store.InTx, fn)
}

func idOf(c echo.Context) (uuid.UUID, error) {
	id, err := uuid.Parse(c.Param("id"))
	if err != nil {
		return id, ledger.ErrNotFound
	}
	return id, nil
}
