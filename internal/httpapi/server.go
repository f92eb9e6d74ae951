package httpapi

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
	"github.com/prometheus/client_golang/prometheus"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
	"proofhouse/internal/outward"
	"proofhouse/internal/storage"
	"proofhouse/internal/watch"
)

// Times that a handler may take, and how long links live.
const (
	handlerTime  = 30 * time.Second
	sealTime     = 5 * time.Minute // looks at every object of a delivery
	downloadTime = 15 * time.Minute
	sessionFor   = 12 * time.Hour
	linkFor      = 15 * time.Minute
)

// Config is what a Server is made of. All but Pages, Limits, Registry and ReadyParts is needed.
type Config struct {
	Store     *ledger.Store
	Login     *ledger.Login
	Storage   *storage.Store
	PublicURL string // "https://props.example": where people reach the service
	Log       *slog.Logger
	Registry  *prometheus.Registry
	Limits    Limits
	// TrustedProxies are the addresses (CIDR) whose X-Forwarded-For is believed; none unless said.
	TrustedProxies []string
	// Outward says which addresses besides public ones a party's provider may have.
	Outward outward.Policy
	Tracer  *watch.Tracer // nil: no spans
	// StoragePrice is what a gigabyte costs, for those who ask what is stored.
	StoragePrice StoragePrice
	// Pages mounts the pages on the same server; they use Session, Caller and the exported operations of the Server.
	Pages func(e *echo.Echo, s *Server) error
	// ProgramsDir holds the vendor's programs, for the pages to give away; "" for none.
	ProgramsDir string
	// PostKey seals the secrets of webhooks and log-in providers; without one there are none. Store and Login use it too.
	PostKey ledger.PostKey
	// Mails says that a process of this service sends mail, invitations among it.
	Mails bool
	// Streams are the event streams; nil makes a table that nobody wakes, whose streams look for news by themselves.
	Streams *Streams
	// ReadyParts are further things that must be fit for work, by name.
	ReadyParts map[string]func(context.Context) error
}

// Server answers the interface. Handler gives it to a net/http server.
type Server struct {
	store     *ledger.Store
	login     *ledger.Login
	storage   *storage.Store
	log       *slog.Logger
	echo      *echo.Echo
	desc      *description
	limits    *limiters
	metrics   *metrics
	csrf      *http.CrossOriginProtection
	cookie    cookieRules
	ready     map[string]func(context.Context) error
	strict    api.ServerInterface
	publicAt  *url.URL
	programs  string
	mails     bool
	providers *providers
	notes     *accessNotes
	joining   keyLock // deliveries whose parts are being joined
	streams   *Streams
	postKey   ledger.PostKey
	calls     outward.Policy
	watching
}

// New makes a server with all its routes.
func New(cfg Config) (*Server, error) {
	public, err := url.Parse(cfg.PublicURL)
	if err != nil || public.Host == "" || (public.Scheme != "http" && public.Scheme != "https") {
		return nil, errors.New("httpapi: the public address must be a whole http or https address")
	}
	desc, err := loadDescription()
	if err != nil {
		return nil, fmt.Errorf("httpapi: %w", err)
	}
	if cfg.PostKey.Known() {
		cfg.Login.UsePost(cfg.PostKey)
	}
	if cfg.Registry == nil {
		cfg.Registry = prometheus.NewRegistry()
	}
	s := &Server{
		store: cfg.Store, login: cfg.Login, storage: cfg.Storage, log: cfg.Log, desc: desc,
		limits: newLimiters(cfg.Limits), metrics: newMetrics(cfg.Registry), csrf: http.NewCrossOriginProtection(),
		cookie: cookieFor(public), publicAt: public, programs: cfg.ProgramsDir, providers: newProviders(cfg.Outward), notes: newAccessNotes(), streams: cfg.Streams, postKey: cfg.PostKey, calls: cfg.Outward,
	}
	s.tracer, s.storagePrice, s.mails = cfg.Tracer, cfg.StoragePrice, cfg.Mails
	if s.streams == nil {
		s.streams = NewStreams()
	}
	if err := s.csrf.AddTrustedOrigin(public.Scheme + "://" + public.Host); err != nil {
		return nil, fmt.Errorf("httpapi: public address: %w", err)
	}
	s.ready = map[string]func(context.Context) error{"database": cfg.Store.Ready, "storage": storageReady(cfg.Storage)}
	for name, check := range cfg.ReadyParts {
		s.ready[name] = check
	}
	if s.echo, err = s.newEcho(cfg); err != nil {
		return nil, fmt.Errorf("httpapi: %w", err)
	}
	return s, nil
}

// Handler is the whole service.
func (s *Server) Handler() http.Handler { return s.echo }

func (s *Server) newEcho(cfg Config) (*echo.Echo, error) {
	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = func(err error, c echo.Context) { writeProblem(c, err) }
	extract, err := addressOf(cfg.TrustedProxies)
	if err != nil {
		return nil, err
	}
	e.IPExtractor = extract
	e.Use(
		middleware.RequestIDWithConfig(middleware.RequestIDConfig{
			Generator: func() string { return uuid.Must(uuid.NewV7()).String() },
			// An id from outside would let a caller forge log lines.
			RequestIDHandler: func(c echo.Context, id string) { c.Request().Header.Del(echo.HeaderXRequestID) },
			Skipper:          func(c echo.Context) bool { c.Request().Header.Del(echo.HeaderXRequestID); return false },
		}),
		s.observe,
		s.recoverPanics,
		s.secureHeaders,
		asFile,
	)
	s.routes(e)
	if cfg.Pages != nil {
		if err := cfg.Pages(e, s); err != nil {
			return nil, fmt.Errorf("mount the pages: %w", err)
		}
	}
	return e, nil
}

// routes puts the generated and the hand-written routes behind the same chain.
func (s *Server) routes(e *echo.Echo) {
	s.strict = api.NewStrictHandler(&handlers{s}, []api.StrictMiddlewareFunc{s.sheets})
	chain := []echo.MiddlewareFunc{s.limitAddress, s.authenticate, s.limitCaller, s.noteReads, s.holdBody, s.desc.check, s.inTime}
	group := e.Group("", chain...)
	api.RegisterHandlers(group, s.strict)
	e.RouteNotFound("/v1/*", s.nothingHere) // a problem also where pages answer the rest with a page
	e.RouteNotFound("/problems/*", s.nothingHere)
	group.GET("/v1/openapi", s.getDescription)
	group.GET("/problems/:problem", s.getProblem)
	group.GET("/v1/events", s.streamEvents)
	group.GET("/v1/inspections/:inspection_id/evidence", s.getEvidence)
	group.GET("/v1/inspections/:inspection_id/pictures/:picture", s.getPicture)
	group.GET("/v1/deliveries/:delivery_id/files/:file_id/content", s.getFileContent)
	group.GET("/v1/work-orders/:work_order_id/export", s.exportWorkOrder)
	group.GET("/v1/handovers/:handover_id/package", s.getHandoverPackage)
}

// nothingHere answers an address that is not in the description, or not with this method.
func (s *Server) nothingHere(c echo.Context) error {
	if methods := s.desc.methods(c.Request().URL.Path); len(methods) > 0 {
		c.Response().Header().Set(echo.HeaderAllow, strings.Join(methods, ", "))
		return echo.ErrMethodNotAllowed
	}
	return echo.ErrNotFound
}

// inTime bounds how long a handler may work.
func (s *Server) inTime(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		limit := handlerTime
		switch c.Path() {
		case "/v1/deliveries/:delivery_id/seal", "/v1/batches/:batch_id/seal", "/v1/work-orders/:work_order_id/batches", "/v1/work-orders/:work_order_id/props/import", "/v1/milestones/:milestone_id/deliveries", "/v1/deliveries/:delivery_id/uploads":
			limit = sealTime
		case "/v1/work-orders/:work_order_id/export", "/v1/handovers/:handover_id/package", "/v1/inspections/:inspection_id/evidence", "/v1/inspections/:inspection_id/pictures/:picture":
			limit = downloadTime
		case "/v1/events":
			limit = streamTime
		}
		if inboundOf(c.Request().Context()).query.Get("format") == string(api.Csv) { // a table has every page of a list
			limit = downloadTime
		}
		ctx, cancel := context.WithTimeout(c.Request().Context(), limit)
		defer cancel()
		c.SetRequest(c.Request().WithContext(ctx))
		return next(c)
	}
}

// holdBody reads the body once, within the bound, for the description's check, the handler and the idempotency key.
func (s *Server) holdBody(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		body, err := readBody(c)
		if err != nil {
			return err
		}
		r := c.Request()
		c.SetRequest(r.WithContext(context.WithValue(r.Context(), inboundKey{}, inbound{
			place: placeOf(c), answer: c.Response(), query: r.URL.Query(),
			request: ledger.Request{
				Method: r.Method, Route: r.URL.Path, Key: r.Header.Get("Idempotency-Key"), Body: append([]byte(r.URL.RawQuery+"\n"), body...),
			},
		})))
		return next(c)
	}
}

// inbound is what handlers need of the present request beside its body.
type inbound struct {
	place   place
	answer  *echo.Response
	request ledger.Request
	query   url.Values // as it was sent: the description's check fills in what is usual
}

type inboundKey struct{}

func inboundOf(ctx context.Context) inbound {
	in, _ := ctx.Value(inboundKey{}).(inbound)
	return in
}

// request is the present request as the ledger knows it for idempotency.
func request(ctx context.Context) ledger.Request { return inboundOf(ctx).request }

func (s *Server) secureHeaders(next echo.HandlerFunc) echo.HandlerFunc {
	https := s.publicAt.Scheme == "https"
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'") // pages set their own
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=(), payment=(), usb=(), serial=(), hid=(), bluetooth=(), display-capture=(), browsing-topics=()")
		h.Set(echo.HeaderCacheControl, "no-store")
		if https {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		return next(c)
	}
}

func (s *Server) recoverPanics(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			if r := recover(); r != nil {
				if r == http.ErrAbortHandler {
					panic(r)
				}
				err = fmt.Errorf("panic: %v\n%s", r, stack())
			}
		}()
		return next(c)
	}
}
