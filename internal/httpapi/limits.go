package httpapi

import (
	"context"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"

	"proofhouse/internal/ledger"
)

// Limits say how much one caller may ask. Zero values mean the defaults.
type Limits struct {
	CallerPerSecond, AddressPerSecond float64
	CallerBurst, AddressBurst         int
	LogInEvery                        time.Duration // one attempt per address
	LogInBurst                        int           // per address, and per browser that is known
	StrangerEvery                     time.Duration // one attempt per e-mail for all browsers that are not known together, and per browser that is known
	StrangerBurst                     int           // per e-mail
}

func (l Limits) withDefaults() Limits {
	or := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	orInt := func(v *int, d int) {
		if *v == 0 {
			*v = d
		}
	}
	or(&l.CallerPerSecond, 50)
	or(&l.AddressPerSecond, 200) // an office behind one address
	orInt(&l.CallerBurst, 200)
	orInt(&l.AddressBurst, 800)
	orInt(&l.LogInBurst, 10)
	// OWASP ASVS 4.0.3, 2.2.1: no more than 100 failures an hour at one account. With these and one stolen device cookie: 30 + 30 and 10 + 30.
	orInt(&l.StrangerBurst, 30)
	if l.LogInEvery == 0 {
		l.LogInEvery = 6 * time.Second
	}
	if l.StrangerEvery == 0 {
		l.StrangerEvery = 2 * time.Minute
	}
	return l
}

type limiters struct {
	caller, address *limiter
	of              Limits // those of log-in are counted in the database, for all processes together
}

func newLimiters(l Limits) *limiters {
	l = l.withDefaults()
	return &limiters{
		caller:  newLimiter(rate.Limit(l.CallerPerSecond), l.CallerBurst),
		address: newLimiter(rate.Limit(l.AddressPerSecond), l.AddressBurst),
		of:      l,
	}
}

// mayTry takes one attempt to log in and says how long to wait where there is none left. One address has few. A browser
// that the e-mail's owner has logged in from has its own, which nobody else can use up; all others share those of the
// e-mail, more than one address has. So who guesses from one place is stopped soon, who guesses from many holds up only
// browsers that nobody knows, and in both cases the owner gets in where they did before.
func (s *Server) mayTry(ctx context.Context, at place, email string) (time.Duration, error) {
	l := s.limits.of
	known, err := s.login.KnownDevice(ctx, email, at.device)
	if err != nil {
		return 0, err
	}
	if known {
		return s.login.Attempt(ctx, "device "+at.device, l.StrangerEvery, l.LogInBurst)
	}
	wait, err := s.login.Attempt(ctx, "address "+at.address, l.LogInEvery, l.LogInBurst)
	if err != nil || wait > 0 {
		return wait, err
	}
	return s.login.Attempt(ctx, "e-mail "+strings.ToLower(strings.TrimSpace(email)), l.StrangerEvery, l.StrangerBurst)
}

// mayJoin takes one attempt to use an invitation, or to come back from a provider.
func (s *Server) mayJoin(ctx context.Context, address string) (time.Duration, error) {
	return s.login.Attempt(ctx, "address "+address, s.limits.of.LogInEvery, s.limits.of.LogInBurst)
}

// mayChange takes one attempt of a member to change their password.
func (s *Server) mayChange(ctx context.Context, who ledger.Who) (time.Duration, error) {
	return s.login.Attempt(ctx, "member "+who.Member.String(), s.limits.of.LogInEvery, s.limits.of.LogInBurst)
}

// limiter is a token bucket per key. Buckets that are full again are forgotten, so that memory follows the callers of
// the last minutes only.
type limiter struct {
	rate  rate.Limit
	burst int
	mu    sync.Mutex
	byKey map[string]*rate.Limiter
	sweep int // sweep when there are this many
}

const firstSweep = 4096

func newLimiter(r rate.Limit, burst int) *limiter {
	return &limiter{rate: r, burst: burst, byKey: map[string]*rate.Limiter{}, sweep: firstSweep}
}

// take returns 0 where the call may go on, else how long to wait.
func (l *limiter) take(key string) time.Duration {
	now := time.Now()
	l.mu.Lock()
	b := l.byKey[key]
	if b == nil {
		if len(l.byKey) >= l.sweep {
			for k, old := range l.byKey {
				if old.TokensAt(now) >= float64(l.burst) {
					delete(l.byKey, k)
				}
			}
			l.sweep = max(firstSweep, 2*len(l.byKey))
		}
		b = rate.NewLimiter(l.rate, l.burst)
		l.byKey[key] = b
	}
	l.mu.Unlock()
	r := b.ReserveN(now, 1)
	wait := r.DelayFrom(now)
	if wait > 0 {
		r.CancelAt(now)
	}
	return wait
}

func tooMany(detail string, wait time.Duration) *Problem {
	return &Problem{kind: kindTooMany, detail: detail, retryAfter: wait}
}

// tooManyOr is err, or that there were too many.
func tooManyOr(err error, detail string, wait time.Duration) error {
	if err != nil {
		return err
	}
	return tooMany(detail, wait)
}

func (s *Server) limitAddress(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if wait := s.limits.address.take(c.RealIP()); wait > 0 {
			return tooMany("Too many requests from this address.", wait)
		}
		return next(c)
	}
}

func (s *Server) limitCaller(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if who, ok := Caller(c.Request().Context()); ok {
			if wait := s.limits.caller.take(who.Member.String() + who.Token.String()); wait > 0 {
				return tooMany("Too many requests with this session or token.", wait)
			}
		}
		return next(c)
	}
}

// addressOf tells a caller's address: of the connection, or, behind the proxies named, as they say it.
func addressOf(proxies []string) (echo.IPExtractor, error) {
	if len(proxies) == 0 {
		return echo.ExtractIPDirect(), nil
	}
	trust := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
	for _, p := range proxies {
		_, network, err := net.ParseCIDR(p)
		if err != nil {
			return nil, fmt.Errorf("trusted proxies must be networks such as 10.0.0.0/8: %w", err)
		}
		trust = append(trust, echo.TrustIPRange(network))
	}
	return echo.ExtractIPFromXFFHeader(trust...), nil
}
