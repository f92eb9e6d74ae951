//go:build full

package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// busyHarbour adds a second project in full swing: props due over some weeks, part of them accepted, some late, and something of
// every kind that waits for somebody.
func (w *world) busyHarbour() ledger.Project {
	project := as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Project, error) {
		return tx.CreateProject(ctx, ledger.NewProject{Code: "BREAKWATER", Title: "The old breakwater"})
	})
	order := as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.WorkOrder, error) {
		return tx.CreateWorkOrder(ctx, ledger.NewWorkOrder{Project: project.ID, Vendor: w.who[ole].Party, Code: "MOLE-04", Title: "Along the breakwater", Currency: "EUR", RoundsIncluded: 1, ReviewDays: 5,
			SilenceAccepts: true, KillFeeBP: 2500, Codename: "Gannet", SourceRoles: []string{"source.sculpt"}})
	})
	w.inspect(reviewable()) // what waits in the queue
	tiers := []string{"background", "mid", "mid", "hero"}
	for i := range 12 {
		code, first, last := fmt.Sprintf("mole_%02d", i), time.Now().UTC().AddDate(0, 0, 7*(i-6)), time.Now().UTC().AddDate(0, 0, 7*(i-2))
		w.props[code] = as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Prop, error) {
			return tx.CreateProp(ctx, ledger.NewProp{WorkOrder: order.ID, Code: code, Title: fmt.Sprintf("Breakwater block %d", i+1), Tier: tiers[i%4], PriceMinor: 42_000 + int64(i)*3_500,
				Milestones: []ledger.NewMilestone{{Kind: "game_mesh", ShareBP: 5000, Due: &first}, {Kind: "final", ShareBP: 5000, Due: &last}}})
		})
		if i == 11 {
			continue // without a spec
		}
		w.spec(code, "prop: "+code+"\ntier: "+tiers[i%4]+"\nchecks:\n  budget.triangles: {max_triangles: 3800}\n")
		if i < 7 {
			w.deliver(code, code, ole)
			w.inspect(reviewable())
		}
		if i < 5 {
			w.sign(code, ledger.Accept, "")
		}
	}
	as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.Question, error) {
		return tx.Ask(ctx, ledger.NewQuestion{Prop: w.props["mole_08"].ID, Text: "Which side faces the sea?", Blocks: true})
	})
	as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.ChangeOrder, error) {
		return tx.OfferChange(ctx, ledger.NewChangeOrder{Milestone: w.props["mole_09"].Milestones[1].ID, Title: "A ladder on the seaward face", Reason: "The sheet shows one.", DeltaMinor: 12_000})
	})
	as(w, ole, func(ctx context.Context, tx *ledger.Tx) (uuid.UUID, error) {
		p, err := tx.Permit(ctx, ledger.NewPermission{WorkOrder: order.ID, Kind: "permit", Prop: w.props["mole_07"].ID, Check: "budget.triangles", Reason: "The chain has round links."})
		return p.ID, err
	})
	w.tamper(`UPDATE ph.milestone SET review_due_at = now() + interval '1 day' WHERE state = 'review'`)
	w.tamper(`SET session_replication_role = replica; UPDATE ph.milestone SET since = now() - (8 - right((SELECT code FROM ph.prop p WHERE p.id = prop_id), 2)::int) * interval '6 days'
		WHERE state = 'accepted' AND prop_id IN (SELECT id FROM ph.prop WHERE code ^@ 'mole_')`)
	// Turn-round times of two to four weeks, for the forecast to draw from.
	w.tamper(`SET session_replication_role = replica; UPDATE ph.sign_off s SET at = m.since FROM ph.milestone m WHERE m.id = s.milestone_id;
		UPDATE ph.delivery d SET sealed_at = m.since - (14 + 4 * right(p.code, 2)::int) * interval '1 day' FROM ph.milestone m JOIN ph.prop p ON p.id = m.prop_id
		WHERE m.id = d.milestone_id AND m.state = 'accepted' AND p.code ^@ 'mole_'`)
	_, err := ledger.NewClock(w.db.Pool(ledger.RoleClock)).Tick(w.t.Context())
	require.NoError(w.t, err)
	return project
}

// TestProducersPagesInABrowser looks at the producer's pages in both languages, every light and width, and plays a producer's
// morning by clicking and typing.
func TestProducersPagesInABrowser(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	project := w.busyHarbour()
	scripts, out := filepath.Join(root, "testdata", "browser"), filepath.Join(root, "testdata", "out", "producer")
	require.DirExists(t, filepath.Join(scripts, "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	require.NoError(t, os.RemoveAll(out))
	order := as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Prop, error) {
		return tx.Prop(ctx, w.props["mole_00"].ID)
	}).WorkOrderID
	at := func(who, name, path string) map[string]any {
		return map[string]any{"who": who, "name": name, "path": path}
	}
	whole := func(who, name, path string) map[string]any {
		return map[string]any{"who": who, "name": name, "path": path, "whole": true}
	}
	config, err := json.Marshal(map[string]any{
		"base": w.base, "password": password, "out": out, "people": map[string]string{"producer": petra, "director": marek, "lead": ole},
		"pages": []map[string]any{
			whole("producer", "today", "/"), whole("lead", "today-vendor", "/"), at("director", "today-director", "/"), at("producer", "open", "/?show=open"),
			whole("producer", "props", "/props"), whole("producer", "props-grouped", "/props?group=state&sort=-price"), at("lead", "props-vendor", "/props"), at("producer", "props-none", "/props?q=nothing"),
			whole("producer", "project", "/projects/"+project.ID.String()), at("producer", "projects", "/projects"), whole("producer", "figures", "/figures"), at("lead", "figures-vendor", "/figures?by=tier"),
			whole("producer", "order", "/orders/"+order.String()), at("lead", "order-vendor", "/orders/"+order.String()), at("producer", "order-new", "/orders/new"), at("producer", "order-list", "/orders/"+order.String()+"/list"), at("producer", "order-one", "/orders/"+order.String()+"/prop"),
			at("producer", "orders", "/orders"), at("producer", "payables", "/payables"), at("producer", "payables-wrong", "/payables?from=2027-01-01&to=2026-01-01"),
			at("producer", "bulk-spec", "/props/spec?order=MOLE-04"), at("lead", "specs-waiting", "/specs"), at("producer", "spec-draft", "/props/"+w.props["mole_00"].ID.String()+"/spec"), at("lead", "spec", "/specs/"+w.specs["mole_00"].String()),
		},
	})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), browserTime)
	defer cancel()
	node := exec.CommandContext(ctx, "node", "producer.mjs")
	node.Dir, node.Stdin = scripts, bytes.NewReader(config)
	report, err := node.CombinedOutput()
	t.Logf("%s", report)
	require.NoError(t, err, "the producer's pages in a browser")
	views := as(w, petra, func(ctx context.Context, tx *ledger.Tx) ([]ledger.SavedView, error) { return tx.SavedViews(ctx) })
	require.Len(t, views, 1)
	require.Equal(t, "late=yes&sort=-price", views[0].Query)
}
