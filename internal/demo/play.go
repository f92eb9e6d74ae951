package demo

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"
	openapi_types "github.com/oapi-codegen/runtime/types"

	"proofhouse/internal/client"
)

// State is what the demo remembers between starts, in a file that only this user can read.
type State struct {
	Logins []Login  `json:"logins"`
	Joined []string `json:"joined"` // e-mails of those who have their account
	Loaded bool     `json:"loaded"`
	Lines  []Line   `json:"lines,omitempty"`
}

// Login is one person of the cast, with a password made for this data folder.
type Login struct{ Name, Email, Password, Party, Role string }

// Line is one delivery and how it came out.
type Line struct {
	Prop, Vendor      string
	Milestone         string
	Number            int
	Verdict, Headline string
	Decided           string
	Delivery          uuid.UUID
	AsExpected        bool
}

// Play is one run of the scenario.
type Play struct {
	Base string // the service's address
	Dir  string // the demo's data folder
	Out  io.Writer
	Fine float64 // of the sculpts: 1 is about 200,000 triangles each
	// Bootstrap makes the studio with its first member; called once for a data folder.
	Bootstrap func(ctx context.Context, studio, name, email, password string) error

	state    State
	callers  map[string]*client.Service // by e-mail
	sessions map[string]*http.Cookie    // by e-mail, from joining
	vendors  map[string]uuid.UUID
	orders   map[string]uuid.UUID // by code
	studioID uuid.UUID
}

const stateFile = "harbour.json"

// Run loads the scenario unless this data folder has it, and returns what there is. It may be interrupted and run again:
// every act has a key of its own, so that none is done twice.
func (p *Play) Run(ctx context.Context) (State, error) {
	if err := p.remember(); err != nil {
		return State{}, err
	}
	if p.state.Loaded {
		return p.state, nil
	}
	p.callers, p.sessions, p.vendors = map[string]*client.Service{}, map[string]*http.Cookie{}, map[string]uuid.UUID{}
	p.orders = map[string]uuid.UUID{}
	steps := []func(context.Context) error{p.studio, p.calendar, p.engage, p.invite, p.placeOrders, p.deliverAll, p.talk}
	for _, step := range steps {
		if err := step(ctx); err != nil {
			return p.state, fmt.Errorf("demo: %w", err)
		}
	}
	p.state.Loaded = true
	return p.state, p.save()
}

// remember reads the state, or makes one with fresh passwords.
func (p *Play) remember() error {
	data, err := os.ReadFile(filepath.Join(p.Dir, stateFile))
	if err == nil {
		if err := json.Unmarshal(data, &p.state); err != nil {
			return fmt.Errorf("demo: %s in %s is damaged; remove the folder to start afresh", stateFile, p.Dir)
		}
		return nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("demo: %w", err)
	}
	p.state.Logins = []Login{{FirstName, FirstEmail, secret(), Studio, "producer"}}
	for _, who := range people {
		party := who.party
		if party == "" {
			party = Studio
		}
		p.state.Logins = append(p.state.Logins, Login{who.name, who.email, secret(), party, who.roles[0]})
	}
	return p.save()
}

func (p *Play) save() error {
	data, err := json.MarshalIndent(p.state, "", "  ")
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	if err := os.WriteFile(filepath.Join(p.Dir, stateFile), data, 0o600); err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	return nil
}

func secret() string {
	b := make([]byte, 9)
	_, _ = rand.Read(b) // never fails, by its documentation
	return hex.EncodeToString(b)
}

func (p *Play) login(email string) Login {
	for _, l := range p.state.Logins {
		if l.Email == email {
			return l
		}
	}
	return Login{}
}

// as gives a caller with a token of that person's, made once for a run.
func (p *Play) as(ctx context.Context, email string) (*client.Service, error) {
	if s, ok := p.callers[email]; ok {
		return s, nil
	}
	cookie := p.sessions[email]
	if cookie == nil {
		var err error
		if cookie, err = p.logIn(ctx, email); err != nil {
			return nil, err
		}
	}
	anonymous, err := client.New(p.Base, "")
	if err != nil {
		return nil, err
	}
	scopes := []client.Scope{client.ScopeDeliver, client.ScopeReview}
	if p.login(email).Party == Studio {
		scopes = []client.Scope{client.ScopeOrder, client.ScopeReview, client.ScopeAdmin}
	}
	days := 1
	made, err := anonymous.CreateTokenWithResponse(ctx, &client.CreateTokenParams{IdempotencyKey: secret()},
		client.NewToken{Name: "harbour demo", Scopes: scopes, Days: &days}, withCookie(cookie))
	if err != nil {
		return nil, fmt.Errorf("make a token: %w", err)
	}
	if made.JSON201 == nil || made.JSON201.Secret == nil {
		return nil, client.Refusal("make a token", made.HTTPResponse, made.ApplicationproblemJSONDefault)
	}
	s, err := client.New(p.Base, *made.JSON201.Secret)
	if err == nil {
		p.callers[email] = s
	}
	return s, err
}

func withCookie(c *http.Cookie) client.RequestEditorFn {
	return func(_ context.Context, r *http.Request) error { r.AddCookie(c); return nil }
}

func (p *Play) logIn(ctx context.Context, email string) (*http.Cookie, error) {
	anonymous, err := client.New(p.Base, "")
	if err != nil {
		return nil, err
	}
	in, err := anonymous.LogInWithResponse(ctx, client.LogIn{Email: email, Password: p.login(email).Password})
	if err != nil {
		return nil, fmt.Errorf("log in: %w", err)
	}
	if c := sessionOf(in.HTTPResponse); c != nil {
		return c, nil
	}
	return nil, client.Refusal("log in as "+email, in.HTTPResponse, in.ApplicationproblemJSONDefault)
}

func sessionOf(r *http.Response) *http.Cookie {
	for _, c := range r.Cookies() {
		if strings.HasSuffix(c.Name, "proofhouse_session") && c.Value != "" {
			return c
		}
	}
	return nil
}

// joined remembers that somebody has their account.
func (p *Play) joined(email string) error {
	p.state.Joined = append(p.state.Joined, email)
	return p.save()
}

func (p *Play) studio(ctx context.Context) error {
	if !slices.Contains(p.state.Joined, FirstEmail) {
		if err := p.Bootstrap(ctx, Studio, FirstName, FirstEmail, p.login(FirstEmail).Password); err != nil {
			return fmt.Errorf("make the studio: %w", err)
		}
		if err := p.joined(FirstEmail); err != nil {
			return err
		}
	}
	s, err := p.as(ctx, FirstEmail)
	if err != nil {
		return err
	}
	me, err := s.GetMeWithResponse(ctx)
	if err != nil {
		return fmt.Errorf("ask who is calling: %w", err)
	}
	if me.JSON200 == nil {
		return client.Refusal("ask who is calling", me.HTTPResponse, me.ApplicationproblemJSONDefault)
	}
	p.studioID = me.JSON200.PartyId
	return nil
}

func (p *Play) engage(ctx context.Context) error {
	s, err := p.as(ctx, FirstEmail)
	if err != nil {
		return err
	}
	for _, o := range orders {
		r, err := s.CreateVendorWithResponse(ctx, &client.CreateVendorParams{IdempotencyKey: "demo-vendor-" + o.code}, client.NewVendor{Name: o.vendor})
		if err != nil {
			return fmt.Errorf("engage %s: %w", o.vendor, err)
		}
		if r.JSON201 == nil {
			return client.Refusal("engage "+o.vendor, r.HTTPResponse, r.ApplicationproblemJSONDefault)
		}
		p.vendors[o.vendor] = r.JSON201.Id
	}
	return nil
}

func (p *Play) invite(ctx context.Context) error {
	s, err := p.as(ctx, FirstEmail)
	if err != nil {
		return err
	}
	for _, who := range people {
		if slices.Contains(p.state.Joined, who.email) {
			continue // here from a run that was interrupted
		}
		party := p.studioID
		if who.party != "" {
			party = p.vendors[who.party]
		}
		var roles []client.Role
		for _, r := range who.roles {
			roles = append(roles, client.Role(r))
		}
		r, err := s.InviteWithResponse(ctx, &client.InviteParams{IdempotencyKey: secret()}, client.NewInvitation{PartyId: party, Email: who.email, Roles: roles})
		if err != nil {
			return fmt.Errorf("invite %s: %w", who.name, err)
		}
		if r.JSON201 == nil || r.JSON201.Secret == nil {
			return client.Refusal("invite "+who.name, r.HTTPResponse, r.ApplicationproblemJSONDefault)
		}
		in, err := s.AcceptInvitationWithResponse(ctx, client.AcceptInvitation{Secret: *r.JSON201.Secret, Name: who.name, Password: p.login(who.email).Password},
			func(_ context.Context, r *http.Request) error { r.Header.Del("Authorization"); return nil })
		if err != nil {
			return fmt.Errorf("accept the invitation of %s: %w", who.name, err)
		}
		if in.JSON201 == nil {
			return client.Refusal("accept the invitation of "+who.name, in.HTTPResponse, in.ApplicationproblemJSONDefault)
		}
		p.sessions[who.email] = sessionOf(in.HTTPResponse)
		if err := p.joined(who.email); err != nil {
			return err
		}
	}
	return nil
}

func (p *Play) placeOrders(ctx context.Context) error {
	s, err := p.as(ctx, FirstEmail)
	if err != nil {
		return err
	}
	project, err := s.CreateProjectWithResponse(ctx, &client.CreateProjectParams{IdempotencyKey: "demo-project"}, client.NewProject{Code: "SALTMARSH", Title: "Saltmarsh harbour"})
	if err != nil {
		return fmt.Errorf("start the project: %w", err)
	}
	if project.JSON201 == nil {
		return client.Refusal("start the project", project.HTTPResponse, project.ApplicationproblemJSONDefault)
	}
	terms := "Two rounds of rework are in the price. The studio answers within five working days."
	for _, o := range orders {
		r, err := s.CreateWorkOrderWithResponse(ctx, &client.CreateWorkOrderParams{IdempotencyKey: "demo-order-" + o.code}, client.NewWorkOrder{
			ProjectId: project.JSON201.Id, VendorId: p.vendors[o.vendor], Code: o.code, Title: o.title, Currency: o.currency, Terms: &terms,
		})
		if err != nil {
			return fmt.Errorf("place order %s: %w", o.code, err)
		}
		if r.JSON201 == nil {
			return client.Refusal("place order "+o.code, r.HTTPResponse, r.ApplicationproblemJSONDefault)
		}
		for _, one := range o.props {
			if err := p.orderProp(ctx, s, r.JSON201.Id, o, one); err != nil {
				return err
			}
		}
		if err := p.refer(ctx, s, r.JSON201.Id, o); err != nil {
			return fmt.Errorf("the references of %s: %w", o.code, err)
		}
		p.orders[o.code] = r.JSON201.Id
	}
	return nil
}

func (p *Play) orderProp(ctx context.Context, s *client.Service, wo uuid.UUID, o order, one ordered) error {
	due := func(days int) *openapi_types.Date { return &openapi_types.Date{Time: time.Now().AddDate(0, 0, days)} }
	share := func(bp int) *int { return &bp }
	r, err := s.CreatePropWithResponse(ctx, wo, &client.CreatePropParams{IdempotencyKey: "demo-prop-" + one.code}, client.NewProp{
		Code: one.code, Title: one.title, Tier: client.Tier(one.tier), Price: client.Money{AmountMinor: one.priceMinor, Currency: o.currency},
		Milestones: []client.NewMilestone{
			{Kind: client.GameMesh, ShareBp: share(5000), DueOn: due(one.dueInDays)},
			{Kind: client.Maps, ShareBp: share(2000), DueOn: due(one.dueInDays + 14)},
			{Kind: client.Final, ShareBp: share(3000), DueOn: due(one.dueInDays + 21)},
		},
	})
	if err != nil {
		return fmt.Errorf("order %s: %w", one.code, err)
	}
	if r.JSON201 == nil {
		return client.Refusal("order "+one.code, r.HTTPResponse, r.ApplicationproblemJSONDefault)
	}
	doc, err := specs.ReadFile("specs/" + one.code + ".yaml")
	if err != nil {
		return fmt.Errorf("the spec of %s: %w", one.code, err)
	}
	note := "As contracted."
	published, err := s.PublishSpecWithResponse(ctx, r.JSON201.Id, &client.PublishSpecParams{IdempotencyKey: "demo-spec-" + one.code}, client.NewSpec{Document: string(doc), Note: &note})
	if err != nil {
		return fmt.Errorf("publish the spec of %s: %w", one.code, err)
	}
	if published.JSON201 == nil {
		return client.Refusal("publish the spec of "+one.code, published.HTTPResponse, published.ApplicationproblemJSONDefault)
	}
	return nil
}
