package seed

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
)

// Config says how large a world is drawn. The same config draws the same world, but for the ids of the two studios and the
// password, which are the service's own.
type Config struct {
	Props      int
	Deliveries int       // a prop, in the mean; 0 means 10
	Now        time.Time // until when the world is played; its oldest order lies 46 weeks before
	Seed       uint64
	Password   string               // of every member
	Tell       func(string, ...any) // told of progress; may be nil
	Admin      string               // address of a superuser of a migrated, empty ledger
}

// Counts are what was drawn.
type Counts struct {
	Studios, Vendors, Projects, Orders, Props, Milestones int
	Deliveries, Inspections, SignOffs, Payables           int
	Concessions, Notes                                    int
	Findings, Facts                                       int64
}

// World is what was made: who may log in, and what there is.
type World struct {
	Counts   Counts    `json:"counts"`
	Studio   uuid.UUID `json:"studio"` // the large one
	Members  []Member  `json:"members"`
	Password string    `json:"password"`
}

// Member is a person who may log in.
type Member struct {
	Email string    `json:"email"`
	Side  string    `json:"side"`
	Party uuid.UUID `json:"party"`
	Name  string    `json:"name"` // of the party
	Role  string    `json:"role"`
}

const (
	weeks         = 46
	ordersAtOnce  = 40 // orders whose rows are mixed in time, as those that run at once are
	neighbourPart = 20 // every twentieth order is another studio's
)

// Fill draws the world and loads it.
func Fill(ctx context.Context, c Config) (World, error) {
	if c.Deliveries == 0 {
		c.Deliveries = 10
	}
	if c.Tell == nil {
		c.Tell = func(string, ...any) {}
	}
	w, err := newWorld(ctx, c)
	if err != nil {
		return World{}, fmt.Errorf("seed: %w", err)
	}
	if err := w.load(ctx); err != nil {
		return World{}, fmt.Errorf("seed: %w", err)
	}
	return w.tell(), nil
}

// world is what is being drawn.
type world struct {
	Config
	player  player
	studios []*party
	vendors []party
	project map[*party][]project
	orders  []*order
	begin   time.Time
	hash    string     // of the password, as the service made it
	books   [2]logBook // of the studios
}

func newWorld(ctx context.Context, c Config) (*world, error) {
	w := &world{Config: c, project: map[*party][]project{}, begin: c.Now.AddDate(0, 0, -7*weeks).Truncate(24 * time.Hour)}
	rng := rand.New(rand.NewPCG(c.Seed, 1))
	found, err := drawResults(rng)
	if err != nil {
		return nil, err
	}
	w.player = player{rng: rng, now: c.Now, results: found, figures: figures{checks: map[checkKey]*[2]int64{}, milestones: map[milestoneKey]*milestoneSums{}}}
	if w.player.specs, err = drawSpecs(); err != nil {
		return nil, err
	}
	for _, name := range []string{"Harbour Works", "Breakwater Pictures"} {
		s, err := w.studio(ctx, name)
		if err != nil {
			return nil, err
		}
		w.studios = append(w.studios, s)
	}
	w.vendors = vendors(rng, w.begin, min(max(3, c.Props/2500), 40))
	for i, s := range w.studios {
		for n := range max(2, c.Props/1700/(1+19*i)) {
			at := w.begin.Add(time.Duration(n) * time.Minute)
			w.project[s] = append(w.project[s], project{newID(rng, at), fmt.Sprintf("P-%03d", n+1), quays[n%len(quays)] + " " + fmt.Sprint(n/len(quays)+1), at})
		}
	}
	w.drawOrders(rng)
	return w, nil
}

// studio sets a studio up through the service's own way, with a first member who has every role, and adds its people.
func (w *world) studio(ctx context.Context, name string) (*party, error) {
	domain := "studio-" + fmt.Sprint(len(w.studios)+1)
	who, err := ledger.BootstrapStudio(ctx, w.Admin, name, ledger.FirstMember{Name: "Lead of " + name, Email: "lead@" + domain + ".example", Password: w.Password})
	if err != nil {
		return nil, err
	}
	s := &party{id: who.Party, name: name, side: "studio", people: []person{{id: who.Member, name: who.Name, email: "lead@" + domain + ".example", roles: []string{"producer"}}}}
	s.people = append(s.people, staff(w.player.rng, w.begin, domain)...)
	return s, nil
}

// drawOrders draws sizes until all props are there: one order of a fiftieth of them, the rest of 20 to 180.
func (w *world) drawOrders(rng *rand.Rand) {
	for left := w.Props; left > 0; {
		n := 20 + rng.IntN(161)
		if len(w.orders) == 0 {
			n = max(n, w.Props/50)
		}
		n = min(n, left)
		left -= n
		s := w.studios[0]
		if len(w.orders)%neighbourPart == neighbourPart-1 {
			s = w.studios[1]
		}
		v := &w.vendors[int(float64(len(w.vendors))*rng.Float64()*rng.Float64())] // the first have the most
		placed := w.begin.Add(time.Duration(rng.Int64N(int64(w.Now.Sub(w.begin) - 7*24*time.Hour)))).Truncate(time.Microsecond)
		of := w.project[s]
		w.orders = append(w.orders, &order{studio: s, vendor: v, project: &of[rng.IntN(len(of))], id: newID(rng, placed), placed: placed, props: n, span: 30 * 24 * time.Hour})
	}
	slices.SortFunc(w.orders, func(a, b *order) int { return a.placed.Compare(b.placed) })
	for i, o := range w.orders {
		o.code = fmt.Sprintf("WO-%04d", i+1)
	}
}

// drawSpecs resolves a document for each tier and a few sizes, as the service does when one is published.
func drawSpecs() ([]specText, error) {
	catalogue := acceptance.Catalogue()
	var out []specText
	for i, tier := range []string{"background", "mid", "hero", "close_up"} {
		for n := range 8 {
			document := fmt.Sprintf("# Drawn for measuring speed.\nspec: proofhouse/spec/1\nprop: piece\ntier: %s\nsize_mm: [%d, %d, %d]\nchecks:\n  budget.triangles: {max_triangles: %d}\n", tier, 300+10*n, 400+10*n, 300, 1000*(1+i)+100*n)
			parsed, err := spec.Parse("spec", []byte(document), catalogue)
			if err != nil {
				return nil, fmt.Errorf("spec: %w", err)
			}
			resolved, err := spec.Resolve(parsed, catalogue, "", func(spec.Ref) ([]byte, error) { return nil, errors.New("extends nothing") })
			if err != nil {
				return nil, fmt.Errorf("spec: %w", err)
			}
			out = append(out, specText{document: []byte(document), sha256: sum([]byte(document)), digest: unhex(resolved.Digest)})
		}
	}
	return out, nil
}

// tell lists who may log in: everybody of the large studio and of the largest vendors.
func (w *world) tell() World {
	out := World{Counts: w.player.counts, Studio: w.studios[0].id, Password: w.Password}
	out.Counts.Studios, out.Counts.Vendors = len(w.studios), len(w.vendors)
	for _, s := range w.studios {
		out.Counts.Projects += len(w.project[s])
	}
	list := []*party{w.studios[0]}
	for i := range min(8, len(w.vendors)) {
		list = append(list, &w.vendors[i])
	}
	for _, p := range list {
		for _, m := range p.people {
			out.Members = append(out.Members, Member{Email: m.email, Side: p.side, Party: p.id, Name: p.name, Role: m.roles[0]})
		}
	}
	return out
}

// load writes everything in three transactions at once, with no index in the way, and then makes the indexes.
func (w *world) load(ctx context.Context) error {
	connect := func() (*pgx.Conn, error) { return pgx.Connect(ctx, w.Admin) }
	conn, err := connect()
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	var there bool
	if err := conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM ph.work_order)`).Scan(&there); err != nil {
		return err
	}
	if there {
		return errors.New("the ledger holds work orders already: an empty one is filled, no other")
	}
	if err := conn.QueryRow(ctx, `SELECT password_hash FROM ph.member WHERE party_id = $1`, w.studios[0].id).Scan(&w.hash); err != nil {
		return err
	}
	again, err := dropIndexes(ctx, conn)
	if err != nil {
		return err
	}
	if err := pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error { return w.members(ctx, tx) }); err != nil {
		return err
	}
	w.Tell("playing %d orders of %d props", len(w.orders), w.Props)
	if err := w.copyAll(ctx, connect); err != nil {
		return err
	}
	w.Tell("%d deliveries, %d findings, %d facts are in; making %d indexes and keys", w.player.counts.Deliveries, w.player.counts.Findings, w.player.counts.Facts, len(again))
	if err := makeIndexes(ctx, connect, again, 2); err != nil {
		return err
	}
	if err := w.derived(ctx, conn); err != nil {
		return err
	}
	w.Tell("looking for statistics")
	// Loaded rows are frozen; what was not emptied before is small.
	_, err = conn.Exec(ctx, `VACUUM ANALYZE`)
	return err
}
