package endtoend

import (
	"context"
	"encoding/hex"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/client"
	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
	"proofhouse/internal/storage"
)

// waiting is how long a test waits for what must come; far more than it takes.
const waiting = 2 * time.Minute

// harbour is one running service with a studio and a vendor, over a database of its own and a gate of its own to storage.
type harbour struct {
	t              *testing.T
	db             *ledgertest.DB
	admin          string    // URL of the database's owner
	owner          *pgx.Conn // looks and tampers behind the service's back
	gate           *gate
	base           string
	store          *storage.Store // as the API has it
	studio         *client.Service
	vendor         *client.Service
	token          string // of the vendor
	desk           string // where the vendor's machine keeps what it found
	project, order uuid.UUID
}

const password = "a long sentence of the tests"

func newHarbour(t *testing.T) *harbour {
	t.Helper()
	h := &harbour{t: t, db: ledgertest.New(t), gate: newGate(t), desk: t.TempDir()}
	h.admin = h.db.AdminURL()
	var err error
	h.owner, err = pgx.Connect(t.Context(), h.db.URL(pgserver.Owner))
	require.NoError(t, err)
	t.Cleanup(func() { h.owner.Close(context.Background()) })
	store, err := ledger.NewStore(h.db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	h.store, err = storage.Open(storage.Config{
		Endpoint: h.gate.url, Region: s3server.Region, Bucket: objects.Bucket, AccessKey: objects.API.Access, SecretKey: objects.API.Secret,
	})
	require.NoError(t, err)
	listening := httptest.NewUnstartedServer(nil)
	server, err := httpapi.New(httpapi.Config{
		Store: store, Login: ledger.NewLogin(h.db.Pool(ledger.RoleLogin)), Storage: h.store, PublicURL: "http://" + listening.Listener.Addr().String(),
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Limits: httpapi.Limits{LogInBurst: 1000, CallerBurst: 100000, AddressBurst: 100000},
	})
	require.NoError(t, err)
	listening.Config.Handler = server.Handler()
	listening.Start()
	t.Cleanup(listening.Close)
	h.base = listening.URL
	h.people()
	return h
}

var acts atomic.Int64

// key is an Idempotency-Key of its own for each act.
func key() string { return fmt.Sprintf("end-to-end-%d", acts.Add(1)) }

// elsewhere makes a request come from an address of its own, as people's do, where the service trusts whoever says so.
func elsewhere(_ context.Context, r *http.Request) error {
	n := acts.Add(1)
	r.Header.Set("X-Forwarded-For", fmt.Sprintf("10.8.%d.%d", n>>8&255, n&255))
	return nil
}

// people sets up a studio, a vendor, and an order between them.
func (h *harbour) people() {
	t := h.t
	_, err := ledger.BootstrapStudio(t.Context(), h.admin, "Gull Studio", ledger.FirstMember{Name: "Ida", Email: "ida@gull.example", Password: password})
	require.NoError(t, err)
	_, h.studio = h.caller("ida@gull.example", client.ScopeOrder, client.ScopeReview, client.ScopeAdmin)
	project, err := h.studio.CreateProjectWithResponse(t.Context(), &client.CreateProjectParams{IdempotencyKey: key()}, client.NewProject{Code: "QUAY", Title: "The quay"})
	require.NoError(t, err)
	require.NotNil(t, project.JSON201, string(project.Body))
	h.project = project.JSON201.Id
	h.takeOn("Breaker Yard", "olaf@breaker.example", "W1")
}

// takeOn takes on a vendor and places an order with it. From now on it is the harbour's vendor, and its order the one
// that contracts go into.
func (h *harbour) takeOn(vendor, email, order string) {
	t := h.t
	made, err := h.studio.CreateVendorWithResponse(t.Context(), &client.CreateVendorParams{IdempotencyKey: key()}, client.NewVendor{Name: vendor})
	require.NoError(t, err)
	require.NotNil(t, made.JSON201, string(made.Body))
	invited, err := h.studio.InviteWithResponse(t.Context(), &client.InviteParams{IdempotencyKey: key()},
		client.NewInvitation{PartyId: made.JSON201.Id, Email: email, Roles: []client.Role{client.RoleVendorLead}})
	require.NoError(t, err)
	require.NotNil(t, invited.JSON201, string(invited.Body))
	nobody, err := client.New(h.base, "")
	require.NoError(t, err)
	joined, err := nobody.AcceptInvitationWithResponse(t.Context(), client.AcceptInvitation{Secret: *invited.JSON201.Secret, Name: "Olaf", Password: password}, elsewhere)
	require.NoError(t, err)
	require.NotNil(t, joined.JSON201, string(joined.Body))
	h.token, h.vendor = h.caller(email, client.ScopeDeliver)
	placed, err := h.studio.CreateWorkOrderWithResponse(t.Context(), &client.CreateWorkOrderParams{IdempotencyKey: key()},
		client.NewWorkOrder{ProjectId: h.project, VendorId: made.JSON201.Id, Code: order, Title: "Quay furniture", Currency: "EUR"})
	require.NoError(t, err)
	require.NotNil(t, placed.JSON201, string(placed.Body))
	h.order = placed.JSON201.Id
}

// caller logs somebody in and makes a token.
func (h *harbour) caller(email string, scopes ...client.Scope) (string, *client.Service) {
	t := h.t
	nobody, err := client.New(h.base, "")
	require.NoError(t, err)
	in, err := nobody.LogInWithResponse(t.Context(), client.LogIn{Email: email, Password: password}, elsewhere)
	require.NoError(t, err)
	require.NotNil(t, in.JSON201, string(in.Body))
	cookie, _, _ := strings.Cut(in.HTTPResponse.Header.Get("Set-Cookie"), ";")
	days := 1
	made, err := nobody.CreateTokenWithResponse(t.Context(), &client.CreateTokenParams{IdempotencyKey: key()}, client.NewToken{Name: "tests", Scopes: scopes, Days: &days},
		func(_ context.Context, r *http.Request) error { r.Header.Set("Cookie", cookie); return nil })
	require.NoError(t, err)
	require.NotNil(t, made.JSON201, string(made.Body))
	s, err := client.New(h.base, *made.JSON201.Secret)
	require.NoError(t, err)
	return *made.JSON201.Secret, s
}

// contract orders a prop with one milestone, the game mesh, and publishes its spec. It returns the milestone.
func (h *harbour) contract(code, tier, document string) uuid.UUID {
	t := h.t
	t.Helper()
	share := 10_000
	prop, err := h.studio.CreatePropWithResponse(t.Context(), h.order, &client.CreatePropParams{IdempotencyKey: key()}, client.NewProp{
		Code: code, Title: "A " + code, Tier: client.Tier(tier), Price: client.Money{AmountMinor: 10_000, Currency: "EUR"},
		Milestones: []client.NewMilestone{{Kind: client.GameMesh, ShareBp: &share}},
	})
	require.NoError(t, err)
	require.NotNil(t, prop.JSON201, string(prop.Body))
	spec, err := h.studio.PublishSpecWithResponse(t.Context(), prop.JSON201.Id, &client.PublishSpecParams{IdempotencyKey: key()}, client.NewSpec{Document: document})
	require.NoError(t, err)
	require.NotNil(t, spec.JSON201, string(spec.Body))
	return prop.JSON201.Milestones[0].Id
}

// deliver sends files (path to role) of a folder for a milestone and seals, without looking at them first.
func (h *harbour) deliver(milestone uuid.UUID, folder string, roles map[string]string) *client.Delivered {
	h.t.Helper()
	var files []client.LocalFile
	for path, role := range roles {
		files = append(files, client.FilesOf(folder, []string{path}, []string{role})...)
	}
	d, err := h.vendor.Deliver(h.t.Context(), milestone, "", files, nil)
	require.NoError(h.t, err)
	return d
}

// await waits for the inspection of a delivery.
func (h *harbour) await(d *client.Delivered) *client.InspectionHead {
	h.t.Helper()
	ctx, cancel := context.WithTimeout(h.t.Context(), waiting)
	defer cancel()
	got, err := h.vendor.Await(ctx, d.Delivery.Id)
	require.NoError(h.t, err)
	return got.Inspection
}

// count asks the database.
func (h *harbour) count(query string, args ...any) (n int) {
	h.t.Helper()
	require.NoError(h.t, h.owner.QueryRow(context.Background(), query, args...).Scan(&n))
	return n
}

// eventually waits until the database says so.
func (h *harbour) eventually(what string, query string, args ...any) {
	h.t.Helper()
	for until := time.Now().Add(waiting); time.Now().Before(until); {
		if h.count(query, args...) > 0 {
			return
		}
		<-time.After(5 * time.Millisecond)
	}
	require.Fail(h.t, "waited in vain: "+what)
}

// lapse ends the leases of workers that are gone, as if their time had passed.
func (h *harbour) lapse() {
	h.t.Helper()
	_, err := h.owner.Exec(h.t.Context(), `UPDATE ph.inspection SET lease_until = now() - interval '1 second' WHERE state = 'running'`)
	require.NoError(h.t, err)
}

// recordedOnce makes sure that each sealed delivery has exactly one inspection that counts, recorded once.
func (h *harbour) recordedOnce(deliveries int) {
	t := h.t
	t.Helper()
	require.Equal(t, deliveries, h.count(`SELECT count(*) FROM ph.delivery WHERE state = 'sealed'`), "sealed")
	require.Equal(t, deliveries, h.count(`SELECT count(*) FROM ph.inspection`), "inspections")
	require.Equal(t, deliveries, h.count(`SELECT count(*) FROM ph.inspection WHERE state = 'done' AND current`), "current")
	require.Equal(t, deliveries, h.count(`SELECT count(*) FROM ph.fact WHERE kind = $1`, ledger.FactInspectionRecorded), "recorded facts")
}

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	require.NoError(t, err)
	return b
}
