package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"proofhouse/internal/load/seed"
)

// options of one run.
type options struct {
	dir, program, out        string
	rate, pageRate, sealRate int
	reads, pages             time.Duration
	sealTime                 time.Duration
	only                     string
	skipInner                bool
	trace                    string
	brief                    bool // seconds of everything, and limits of time are not held: whether it works
}

// measurement is everything that one run measured.
type measurement struct {
	manifest
	options
	Began        time.Time
	Reads, Pages []measured
	Seal         measured
	SealCPU      []spent
	Exports      []exported
	Missing      []string
	First        []firstLoad
	Inner        inner
	Still        []string // how often nobody ran, by part
	Cores        int
	Load         string // of the machine, before

	told io.Writer // of each answer; nil: nobody
}

func measureCommand(ctx context.Context, args []string) error {
	var o options
	f := flag.NewFlagSet("measure", flag.ContinueOnError)
	f.StringVar(&o.dir, "dir", "", "data `folder` made by seed")
	f.StringVar(&o.program, "api", "build/api", "the service's `program`")
	f.StringVar(&o.out, "out", "", "`file` for the table; none: printed alone")
	f.IntVar(&o.rate, "rate", 200, "questions a second")
	f.IntVar(&o.pageRate, "page-rate", 50, "pages a second")
	f.IntVar(&o.sealRate, "seal-rate", 300, "seals a second")
	f.DurationVar(&o.reads, "reads", 2*time.Minute, "how long to ask")
	f.DurationVar(&o.pages, "pages", 3*time.Minute, "how long to ask for pages: some 200 times each, below which a p99 is the largest of all")
	f.DurationVar(&o.sealTime, "seals", 10*time.Second, "how long to seal")
	f.StringVar(&o.only, "only", "", "routes whose name holds this `text` alone")
	f.BoolVar(&o.skipInner, "skip-inner", false, "leave out facts, deliveries and pgbench")
	f.BoolVar(&o.brief, "brief", false, "tell times, hold no limit of them: whether everything works")
	f.StringVar(&o.trace, "trace", "", "`file` for one line of each answer: seconds, milliseconds, status, route, address")
	if err := f.Parse(args); err != nil {
		return err
	}
	m, err := readManifest(o.dir)
	if err != nil {
		return fmt.Errorf("%s is no filled data folder (seed makes one): %w", o.dir, err)
	}
	r := measurement{manifest: m, options: o, Began: time.Now().UTC(), Load: loadAverage()}
	if o.trace != "" {
		lines, err := os.Create(o.trace)
		if err != nil {
			return err
		}
		defer lines.Close()
		r.told = lines
	}
	if o.only == "" && (o.sealTime > 0 || !o.skipInner) {
		need := o.sealRate * int(o.sealTime/time.Second)
		if !o.skipInner {
			need += perMinuteMost
		}
		if _, err := topUp(ctx, o.dir, m, need); err != nil {
			return fmt.Errorf("top up: %w", err)
		}
	}
	if err := r.throughHTTP(ctx); err != nil {
		return err
	}
	if !o.skipInner {
		if r.Inner, err = measureInner(ctx, o.dir, m); err != nil {
			return err
		}
	}
	return r.report()
}

// throughHTTP measures what callers see.
func (r *measurement) throughHTTP(ctx context.Context) (err error) {
	s, err := serve(ctx, r.program, r.dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.stop()) }()
	conn, err := adminConn(ctx, r.dir)
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	callers, err := logIn(ctx, s.url, r.Password, "10.0", r.Members)
	if err != nil {
		return err
	}
	if err := r.drawSubjects(ctx, conn, callers); err != nil {
		return err
	}
	if err := rest(ctx, conn, r.dir); err != nil {
		return err
	}
	if err := r.readAll(ctx, s.url, callers); err != nil {
		return err
	}
	if r.only != "" {
		return nil
	}
	if err := r.exports(ctx, conn, s, callers); err != nil {
		return err
	}
	if r.sealTime <= 0 {
		return nil
	}
	sealers, err := leads(ctx, conn, r.Studio)
	if err != nil {
		return err
	}
	vendors := make([]seed.Member, len(sealers))
	for i, l := range sealers {
		vendors[i] = seed.Member{Email: l.Email, Side: "vendor", Party: l.Party, Role: "vendor_lead"}
	}
	sealing, err := logIn(ctx, s.url, r.Password, "10.1", vendors)
	if err != nil {
		return err
	}
	say("opening deliveries to seal")
	list, err := prepare(ctx, conn, s.url, sealing, r.sealRate*int(r.sealTime/time.Second))
	if err != nil {
		return err
	}
	say("sealing %d", len(list))
	before := readCPU(s.cmd.Process.Pid, r.dir)
	r.Seal = seals(ctx, s.url, list, r.sealRate, r.told)
	r.SealCPU = before.spentEach(readCPU(s.cmd.Process.Pid, r.dir), r.Seal.Requests)
	return nil
}

func (r *measurement) drawSubjects(ctx context.Context, conn *pgx.Conn, callers []*caller) error {
	by := map[uuid.UUID]subjects{}
	for _, c := range callers {
		if by[c.Party] == nil {
			s, err := readSubjects(ctx, conn, c.Side, c.Party)
			if err != nil {
				return err
			}
			if c.Side == "studio" {
				if err := r.ownSample(ctx, conn, c.Party, s); err != nil {
					return err
				}
				if s["reviewed"], err = strings1(ctx, conn, `SELECT d.id::text FROM ph.milestone m CROSS JOIN LATERAL (SELECT id FROM ph.delivery d WHERE d.studio_id = m.studio_id AND d.milestone_id = m.id
					AND d.state = 'sealed' ORDER BY number DESC LIMIT 1) d WHERE m.studio_id = $1 AND m.state = 'review' LIMIT 200`, c.Party); err != nil {
					return err
				}
			}
			by[c.Party] = s
		}
		c.subjects = by[c.Party]
	}
	return nil
}

// ownSample keeps of the inspections whose evidence can be read those of one studio: all in one question, by the delivery that a sign-off is indexed by.
func (r *measurement) ownSample(ctx context.Context, conn *pgx.Conn, studio uuid.UUID, s subjects) error {
	deliveries, inspections := make([]uuid.UUID, len(r.Sample)), make([]uuid.UUID, len(r.Sample))
	for i, one := range r.Sample {
		deliveries[i], inspections[i] = one.Delivery, one.Inspection
	}
	rows, err := conn.Query(ctx, `SELECT x.delivery::text, x.inspection::text, EXISTS (SELECT FROM ph.inspection WHERE studio_id = $1 AND id = x.inspection),
		EXISTS (SELECT FROM ph.sign_off WHERE studio_id = $1 AND delivery_id = x.delivery AND inspection_id = x.inspection AND decision <> 'return')
		FROM unnest($2::uuid[], $3::uuid[]) WITH ORDINALITY AS x (delivery, inspection, at) ORDER BY x.at`, studio, deliveries, inspections)
	if err != nil {
		return err
	}
	var delivery, inspection string
	var own, accepted bool
	_, err = pgx.ForEachRow(rows, []any{&delivery, &inspection, &own, &accepted}, func() error {
		if accepted {
			s["accepted"] = append(s["accepted"], delivery)
		}
		if own {
			s["sample"], s["sample_inspection"] = append(s["sample"], delivery), append(s["sample_inspection"], inspection)
		}
		return nil
	})
	return err
}

// readAll asks every described route and every page: once around to fill caches and to find out what is refused, then at the
// constant rates.
func (r *measurement) readAll(ctx context.Context, url string, callers []*caller) error {
	routes, err := described("openapi/proofhouse.yaml")
	if err != nil {
		return err
	}
	addresses, err := pages("internal/web/web.go")
	if err != nil {
		return err
	}
	rng := rand.New(rand.NewPCG(r.manifest.Seed, 2))
	for _, part := range []struct {
		routes []string
		rate   int
		lasts  time.Duration
		to     *[]measured
	}{{routes, r.rate, r.reads, &r.Reads}, {addresses, r.pageRate, r.pages, &r.Pages}} {
		var chosen []string
		for _, route := range part.routes {
			if strings.Contains(route, r.only) {
				chosen = append(chosen, route)
			}
		}
		list, missing := makeTargets(chosen, callers, rng)
		r.Missing = append(r.Missing, missing...)
		list, refused := allowed(ctx, url, list)
		r.Missing = append(r.Missing, refused...)
		if len(list) == 0 || part.lasts <= 0 {
			continue
		}
		say("%d routes at %d a second for %s", len(list), part.rate, part.lasts)
		watched, over := context.WithCancel(ctx)
		still := watchStandstills(watched)
		*part.to = attack(ctx, url, list, part.rate, part.lasts, rng, r.told)
		over()
		<-still.done
		r.Still = append(r.Still, fmt.Sprintf("%d routes at %d a second: %s", len(list), part.rate, still))
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if part.to == &r.Pages {
			r.First = firstLoads(ctx, url, list)
		}
	}
	return nil
}

// allowed asks for each route once as each role and keeps the variants of those that are answered: a vendor has no projects, a
// producer does not sign off. It also fills what is cached.
func allowed(ctx context.Context, url string, list []target) (kept []target, refused []string) {
	for _, t := range list {
		var good []variant
		answered, why := map[string]bool{}, ""
		for _, v := range t.variants {
			role := v.caller.Side + v.caller.Role
			may, known := answered[role]
			if !known {
				_, err := v.caller.fetch(ctx, url+v.url)
				if may = err == nil; !may && (why == "" || !strings.Contains(err.Error(), "403")) {
					why = err.Error()
				}
				answered[role] = may
			}
			if may {
				good = append(good, v)
			}
		}
		if len(good) == 0 {
			refused = append(refused, t.route+": "+why)
			continue
		}
		kept = append(kept, target{t.route, good})
	}
	return kept, refused
}

func adminConn(ctx context.Context, dir string) (*pgx.Conn, error) {
	b, err := os.ReadFile(filepath.Join(dir, "admin.env"))
	if err != nil {
		return nil, err
	}
	_, value, _ := strings.Cut(string(b), "DATABASE_ADMIN_URL='")
	value, _, _ = strings.Cut(value, "'")
	return pgx.Connect(ctx, value)
}

func loadAverage() string {
	b, _ := os.ReadFile("/proc/loadavg") // where there is none, nothing is said
	return strings.Join(strings.Fields(string(b))[:min(3, len(strings.Fields(string(b))))], " ")
}

// firstLoad is what a browser fetches for a page that it has never seen, as it goes over the wire, the 3D view's program apart.
type firstLoad struct {
	Route string
	Bytes int
	Parts int
}

var asset = regexp.MustCompile(`(?:href|src)="(/static/[^"]+)"`)

func firstLoads(ctx context.Context, url string, list []target) (out []firstLoad) {
	sizes := map[string]int{}
	for _, t := range list {
		most := firstLoad{Route: t.route}
		for _, v := range t.variants[:min(len(t.variants), 10)] {
			page, wire, err := v.caller.sent(ctx, url+v.url)
			if err != nil {
				continue
			}
			one := firstLoad{Route: t.route, Bytes: wire, Parts: 1}
			for _, a := range asset.FindAllSubmatch(page, -1) {
				name := string(a[1])
				if strings.Contains(name, "viewer") {
					continue
				}
				if _, ok := sizes[name]; !ok {
					_, sizes[name], _ = v.caller.sent(ctx, url+name)
				}
				one.Bytes += sizes[name]
				one.Parts++
			}
			if one.Bytes > most.Bytes {
				most = one
			}
		}
		out = append(out, most)
	}
	return out
}
