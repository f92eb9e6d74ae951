package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/outward"
	"proofhouse/internal/post"
	"proofhouse/internal/storage"
)

type streams struct{ out, err io.Writer }

type environment func(name string) string

// secret is text that is never printed, whatever the verb.
type secret string

const hidden = "(secret)"

// Format hides the secret from every verb of package fmt.
func (s secret) Format(f fmt.State, _ rune) {
	if s != "" {
		_, _ = io.WriteString(f, hidden)
	}
}

// MarshalText hides the secret from JSON and logs.
func (s secret) MarshalText() ([]byte, error) {
	if s == "" {
		return nil, nil
	}
	return []byte(hidden), nil
}

// database is where PostgreSQL is, by the role that uses it.
type database struct {
	api, login, worker, notary, clock, post, admin, direct secret
}

// Format hides all addresses: package fmt does not ask unexported fields how to print themselves.
func (d database) Format(f fmt.State, _ rune) { _, _ = io.WriteString(f, hidden) }

// Format prints what may be seen.
func (c config) Format(f fmt.State, _ rune) { _, _ = io.WriteString(f, c.visible().String()) }

// config is all that the commands are told: by flags, or where those are not given by the environment.
type config struct {
	listen, metricsListen, publicURL string
	embedded, s3Listen               string
	trustedProxies, outwardAllow     string
	collector                        string // OTLP
	storagePrice                     string
	programs                         string // folder of the vendor's programs
	notaryKey                        string
	postKey, postKeyOld, smtp        secret
	proof                            string
	mailFrom                         string
	database                         database
	s3Endpoint, s3PublicEndpoint     string
	s3Region, s3Bucket               string
	s3AccessKey, s3SecretKey         secret
	s3APIAccount, s3WorkerAccount    string // bucket

	studio, name, email string   // bootstrap
	verifiers, receipts []string // verify
	objects             bool     // verify
	rest                []string // arguments behind the flags
}

// variable is one setting: its flag, its name in the environment, and what it is for. This table is the only list.
type variable struct {
	flag, env, fallback, what string
	text                      func(c *config) *string
	secret                    func(c *config) *secret
}

var variables = []variable{
	{flag: "otlp-endpoint", env: "OTEL_EXPORTER_OTLP_ENDPOINT", what: "`address` of a collector for traces, OTLP over HTTP; empty for none", text: func(c *config) *string { return &c.collector }},
	{flag: "storage-price", env: "STORAGE_PRICE", what: "`price` of a gigabyte stored for a month, such as 0.021 EUR; empty for none", text: func(c *config) *string { return &c.storagePrice }},
	{flag: "programs-dir", env: "PROGRAMS_DIR", what: "`folder` with the vendor's programs as scripts/release makes them, which the pages then give away; empty for none", text: func(c *config) *string { return &c.programs }},
	{flag: "listen", env: "LISTEN", fallback: "127.0.0.1:8080", what: "`address` to serve at", text: func(c *config) *string { return &c.listen }},
	{flag: "public-url", env: "PUBLIC_URL", what: "`URL` at which people reach the service; default: http:// and the address",
		text: func(c *config) *string { return &c.publicURL }},
	{flag: "metrics-listen", env: "METRICS_LISTEN", fallback: "127.0.0.1:9464", what: "`address` for Prometheus, or off", text: func(c *config) *string { return &c.metricsListen }},
	{flag: "trusted-proxies", env: "TRUSTED_PROXIES", what: "`networks` whose X-Forwarded-For is believed, such as 10.0.0.0/8,…", text: func(c *config) *string { return &c.trustedProxies }},
	{flag: "outward-allow", env: "OUTWARD_ALLOW", what: "`networks` of yours, such as 10.20.0.0/16,…, that log-in providers and webhooks may stand in; else public addresses alone are called, by https", text: func(c *config) *string { return &c.outwardAllow }},
	{flag: "embedded", env: "EMBEDDED_DIR", what: "data `folder`: run PostgreSQL and S3 storage on this machine", text: func(c *config) *string { return &c.embedded }},
	{flag: "s3-listen", env: "S3_LISTEN", fallback: "127.0.0.1:0", what: "`address` of the storage run by --embedded", text: func(c *config) *string { return &c.s3Listen }},
	{flag: "database-url", env: "DATABASE_URL", what: "PostgreSQL `URL` of the role ph_api; may be a pooler", secret: func(c *config) *secret { return &c.database.api }},
	{flag: "database-login-url", env: "DATABASE_LOGIN_URL", what: "PostgreSQL `URL` of the role ph_login", secret: func(c *config) *secret { return &c.database.login }},
	{flag: "database-direct-url", env: "DATABASE_DIRECT_URL", what: "PostgreSQL `URL` of ph_api past the pooler, where there is one", secret: func(c *config) *secret { return &c.database.direct }},
	{flag: "database-notary-url", env: "DATABASE_NOTARY_URL", what: "PostgreSQL `URL` of the role ph_notary; this process then signs the log's heads", secret: func(c *config) *secret { return &c.database.notary }},
	{flag: "database-clock-url", env: "DATABASE_CLOCK_URL", what: "PostgreSQL `URL` of the role ph_clock; this process then reminds of reviews, accepts by silence where an order says so, and sends decisions whose ten minutes are over (without it they wait until they are sent by hand)", secret: func(c *config) *secret { return &c.database.clock }},
	{flag: "database-post-url", env: "DATABASE_POST_URL", what: "PostgreSQL `URL` of the role ph_post; this process then tells programs and people what happened", secret: func(c *config) *secret { return &c.database.post }},
	{flag: "database-worker-url", env: "DATABASE_WORKER_URL", what: "PostgreSQL `URL` of the role ph_worker: serve counts the queue with it for Prometheus, migrate sets its password", secret: func(c *config) *secret { return &c.database.worker }},
	{flag: "database-admin-url", env: "DATABASE_ADMIN_URL", what: "PostgreSQL `URL` of the database's owner, who may create roles", secret: func(c *config) *secret { return &c.database.admin }},
	{flag: "notary-key", env: "NOTARY_KEY", what: "`file` of the signing key; made on first use", text: func(c *config) *string { return &c.notaryKey }},
	{flag: "post-key", env: "POST_KEY", what: "`key` that seals the secrets of webhooks and log-in providers and makes links in mails, the same for every process: openssl rand -base64 32", secret: func(c *config) *secret { return &c.postKey }},
	{flag: "post-key-old", env: "POST_KEY_OLD", what: "the `key` before this one, which secrets may still be sealed with", secret: func(c *config) *secret { return &c.postKeyOld }},
	{flag: "proof-age", env: "PROOF_AGE", fallback: "15m", what: "how `long` a log-in or a password given again is proof enough to release money, agree to a price or make a way in: 1m to 12h", text: func(c *config) *string { return &c.proof }},
	{flag: "smtp-url", env: "SMTP_URL", what: "mail server: smtp://user:password@`host` with STARTTLS, smtps://…, or smtp://host:25?tls=none; without one no mail is sent", secret: func(c *config) *secret { return &c.smtp }},
	{flag: "mail-from", env: "MAIL_FROM", what: "whom mail is from: \"Props <props@mail.example>\", an `address`", text: func(c *config) *string { return &c.mailFrom }},
	{flag: "s3-endpoint", env: "S3_ENDPOINT", what: "the S3 storage's `address`; empty for AWS", text: func(c *config) *string { return &c.s3Endpoint }},
	{flag: "s3-public-endpoint", env: "S3_PUBLIC_ENDPOINT", what: "its `address` as vendors reach it, where it is another", text: func(c *config) *string { return &c.s3PublicEndpoint }},
	{flag: "s3-region", env: "S3_REGION", fallback: "us-east-1", what: "its `region`", text: func(c *config) *string { return &c.s3Region }},
	{flag: "s3-bucket", env: "S3_BUCKET", fallback: "proofhouse", what: "the `bucket`", text: func(c *config) *string { return &c.s3Bucket }},
	{flag: "s3-access-key", env: "S3_ACCESS_KEY", what: "access `key`", secret: func(c *config) *secret { return &c.s3AccessKey }},
	{flag: "s3-secret-key", env: "S3_SECRET_KEY", what: "secret `key`; better in the environment than in a flag", secret: func(c *config) *secret { return &c.s3SecretKey }},
	{flag: "s3-api-account", env: "S3_API_ACCOUNT", what: "the service's storage `account`", text: func(c *config) *string { return &c.s3APIAccount }},
	{flag: "s3-worker-account", env: "S3_WORKER_ACCOUNT", what: "the workers' storage `account`", text: func(c *config) *string { return &c.s3WorkerAccount }},
	{flag: "studio", what: "`name` of the studio", text: func(c *config) *string { return &c.studio }},
	{flag: "name", what: "`name` of its first member", text: func(c *config) *string { return &c.name }},
	{flag: "email", what: "e-mail `address` of its first member", text: func(c *config) *string { return &c.email }},
}

type many []string

func (m *many) String() string     { return "" }
func (m *many) Set(s string) error { *m = append(*m, s); return nil }

// parse reads the flags that a command has, each falling back to its variable. done says that the command is over.
func parse(io streams, env environment, command, about, names string, args []string) (c config, code int, done bool) {
	f := flag.NewFlagSet(command, flag.ContinueOnError)
	f.SetOutput(discard{})
	has := map[string]bool{}
	for name := range strings.FieldsSeq(names) {
		has[name] = true
	}
	for _, v := range variables {
		if v.text != nil {
			*v.text(&c) = v.fallback
		}
		if v.env != "" && env(v.env) != "" {
			if v.text != nil {
				*v.text(&c) = env(v.env)
			} else {
				*v.secret(&c) = secret(env(v.env))
			}
		}
		if !has[v.flag] {
			continue
		}
		what := v.what
		if v.env != "" {
			what += " (" + v.env + ")"
		}
		if v.text != nil {
			f.StringVar(v.text(&c), v.flag, *v.text(&c), what)
			continue
		}
		f.Func(v.flag, what, func(s string) error { *v.secret(&c) = secret(s); return nil })
	}
	if has["verifier"] {
		f.Var((*many)(&c.verifiers), "verifier", "a trusted notary's `key`, name+hash+key; may be given more than once")
		f.Var((*many)(&c.receipts), "since", "a receipt `file` from before that the record must extend; may be given more than once")
	}
	if has["objects"] {
		f.BoolVar(&c.objects, "objects", false, "read every stored object that the record speaks of, and compare its digest")
	}
	f.Usage = func() {}
	switch err := f.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		f.SetOutput(io.out)
		fmt.Fprintln(io.out, about)
		f.PrintDefaults()
		return c, exitOK, true
	case err != nil:
		fault := err.Error()
		if name, ok := strings.CutPrefix(fault, "flag provided but not defined: -"); ok {
			fault = "there is no --" + name
		}
		return c, complain(io, command, []string{fault + " (see: api " + command + " --help)"}), true
	}
	c.rest = f.Args()
	return c, 0, false
}

// discard keeps the flag package from printing: a mistake is one line, and ours.
type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }

// complain reports every fault at once, one sentence each.
func complain(io streams, command string, faults []string) int {
	for _, fault := range faults {
		fmt.Fprintf(io.err, "api %s: %s\n", command, fault)
	}
	return exitCalled
}

func (c config) serveFaults() (faults []string) {
	if len(c.rest) > 0 {
		faults = append(faults, "it takes no arguments besides its flags")
	}
	for _, a := range []struct{ flag, value string }{{"listen", c.listen}, {"metrics-listen", c.metricsListen}, {"s3-listen", c.s3Listen}} {
		if _, _, err := net.SplitHostPort(a.value); err != nil && a.value != "off" {
			faults = append(faults, "--"+a.flag+" must be an address such as 127.0.0.1:8080")
		}
	}
	if c.publicURL != "" {
		if u, err := url.Parse(c.publicURL); err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
			faults = append(faults, "PUBLIC_URL must be a whole address such as https://props.example")
		}
	}
	for network := range strings.SplitSeq(c.trustedProxies, ",") {
		if _, _, err := net.ParseCIDR(strings.TrimSpace(network)); err != nil && c.trustedProxies != "" {
			faults = append(faults, "TRUSTED_PROXIES must be networks such as 10.0.0.0/8, with commas between")
			break
		}
	}
	if _, err := outward.Networks(c.outwardAllow); err != nil {
		faults = append(faults, "OUTWARD_ALLOW: "+err.Error())
	}
	if d, err := time.ParseDuration(c.proof); err != nil || d < ledger.ProofLeast || d > ledger.ProofMost {
		faults = append(faults, "PROOF_AGE must be a time from 1m to 12h")
	}
	if _, err := httpapi.ParseStoragePrice(c.storagePrice); err != nil {
		faults = append(faults, "STORAGE_PRICE: "+err.Error())
	}
	if c.embedded != "" {
		if c.database.api != "" || c.s3Endpoint != "" {
			faults = append(faults, "--embedded brings its own database and storage: leave out DATABASE_URL and S3_ENDPOINT, or leave out --embedded")
		}
		return faults
	}
	if c.database.api == "" {
		faults = append(faults, "no database: set DATABASE_URL and DATABASE_LOGIN_URL, or use --embedded DIR to run everything on this machine")
	}
	faults = append(faults, roleFault("DATABASE_URL", c.database.api, ledger.RoleAPI, false)...)
	faults = append(faults, roleFault("DATABASE_LOGIN_URL", c.database.login, ledger.RoleLogin, c.database.api != "")...)
	faults = append(faults, roleFault("DATABASE_DIRECT_URL", c.database.direct, ledger.RoleAPI, false)...)
	faults = append(faults, roleFault("DATABASE_WORKER_URL", c.database.worker, ledger.RoleWorker, false)...)
	faults = append(faults, roleFault("DATABASE_NOTARY_URL", c.database.notary, ledger.RoleNotary, false)...)
	faults = append(faults, roleFault("DATABASE_CLOCK_URL", c.database.clock, ledger.RoleClock, false)...)
	faults = append(faults, roleFault("DATABASE_POST_URL", c.database.post, ledger.RolePost, false)...)
	if c.database.post != "" && c.postKey == "" {
		faults = append(faults, "DATABASE_POST_URL needs POST_KEY, the key that seals the secrets of webhooks")
	}
	if _, err := post.ParseSMTP(string(c.smtp), c.mailFrom); c.smtp != "" && err != nil {
		faults = append(faults, "SMTP_URL and MAIL_FROM: "+err.Error())
	}
	if _, err := ledger.ParsePostKey(string(c.postKey)); c.postKey != "" && err != nil {
		faults = append(faults, "POST_KEY: "+err.Error())
	}
	if c.database.notary != "" && c.notaryKey == "" {
		faults = append(faults, "DATABASE_NOTARY_URL needs NOTARY_KEY, the file of the signing key")
	}
	if c.s3AccessKey == "" || c.s3SecretKey == "" {
		faults = append(faults, "no storage keys: set S3_ACCESS_KEY and S3_SECRET_KEY")
	}
	if c.s3Bucket == "" {
		faults = append(faults, "no bucket: set S3_BUCKET")
	}
	return faults
}

// roleFault says what is wrong with one database address, without repeating it: it may hold a password.
func roleFault(name string, address secret, role string, needed bool) []string {
	if address == "" {
		if needed {
			return []string{name + " is not set: it is the PostgreSQL URL of the role " + role}
		}
		return nil
	}
	cfg, err := pgx.ParseConfig(string(address))
	if err != nil {
		return []string{name + " is not a PostgreSQL URL"}
	}
	if role != "" && cfg.User != role {
		return []string{name + " must log in as the role " + role}
	}
	return nil
}

// outward says which addresses that somebody else named may be called.
func (c config) outward() outward.Policy {
	allow, _ := outward.Networks(c.outwardAllow) // serveFaults has refused what cannot be read
	return outward.Policy{Allow: allow}
}

func (c config) storage() storage.Config {
	return storage.Config{
		Endpoint: c.s3Endpoint, PublicEndpoint: c.s3PublicEndpoint, Region: c.s3Region, Bucket: c.s3Bucket,
		AccessKey: string(c.s3AccessKey), SecretKey: string(c.s3SecretKey),
	}
}

// failed says in one line why a command could not go on.
func failed(ctx context.Context, io streams, command string, err error) int {
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		fmt.Fprintf(io.err, "api %s: interrupted\n", command)
		return exitFailed
	}
	fmt.Fprintf(io.err, "api %s: %v\n", command, err)
	return exitFailed
}

// writeSecretFile writes a file that only this user can read, whole or not at all.
func writeSecretFile(path, text string) error {
	tmp := path + ".new"
	if err := os.WriteFile(tmp, []byte(text), 0o600); err != nil {
		return err
	}
	return os.Rename(tmp, path)
}
