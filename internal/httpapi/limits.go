package httpapi

import (
	"crypto/sha256"
	"fmt"
	"net"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"
)

// Limits say how much one caller may ask. Zero values mean the defaults.
type Limits struct {
	CallerPerSecond, AddressPerSecond float64
	CallerBurst, AddressBurst         int
	LogInEvery                        time.Duration // one attempt per address and per e-mail
	LogInBurst                        int
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
	if l.LogInEvery == 0 {
		l.LogInEvery = 6 * time.Second
	}
	return l
}

type limiters struct {
	caller, address, logInAddress, logInEmail *limiter
}

func newLimiters(l Limits) *limiters {
	l = l.withDefaults()
	every := rate.Every(l.LogInEvery)
	return &limiters{
		caller:       newLimiter(rate.Limit(l.CallerPerSecond), l.CallerBurst),
		address:      newLimiter(rate.Limit(l.AddressPerSecond), l.AddressBurst),
		logInAddress: newLimiter(every, l.LogInBurst),
		logInEmail:   newLimiter(every, l.LogInBurst),
	}
}

// logIn takes one attempt from the address and from the e-mail, and says how long to wait where there is none left.
func (l *limiters) logIn(address, email string) time.Duration {
	if wait := l.logInAddress.take(address); wait > 0 {
		return wait
	}
	sum := sha256.Sum256([]byte(strings.ToLower(strings.TrimSpace(email))))
	return l.logInEmail.take(string(sum[:]))
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
