package httpapi_test

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
	"proofhouse/openapi"
)

// Outcomes of one operation for one caller. done: the operation is theirs to call; it succeeds, or is refused for the
// state of things (409, 412, 422) and not for who asks.
const (
	done   = "done"
	hidden = "404"
	barred = "403"
	login  = "401"
)

// callers of the matrix, in the order of its columns.
var callers = []string{"producer", "art director", "technical artist", "vendor lead", "vendor artist", "other vendor", "other studio"}

func everybody(outcome string) []string {
	return []string{outcome, outcome, outcome, outcome, outcome, outcome, outcome}
}

var (
	// own: a list of one's own things, or an act within one's own party.
	own = everybody(done)
	// both: both sides of the work order, and nobody else.
	both = []string{done, done, done, done, done, hidden, hidden}
	// leads: for those who lead a party's work.
	leads = []string{done, barred, barred, done, barred, done, done}
	// leadsOwn: the same, and the thing is the vendor's.
	leadsOwn = []string{hidden, barred, barred, done, barred, hidden, hidden}
	// studioOnly: things that vendors have no part in.
	studioOnly = []string{done, done, done, hidden, hidden, hidden, hidden}
	// nobodys: a thing of one member who is none of these.
	nobodys = everybody(hidden)
	// vendorActs: the vendor's side does it; the other vendor finds nothing; studios are barred by their side.
	vendorActs = []string{barred, barred, barred, done, done, hidden, barred}
)

// matrix says for every operation who may call it on the things of one work order. Another studio's or vendor's member
// that has the role for an act finds nothing to act on; one that does not is barred, whatever there is.
var matrix = map[string][]string{
	"getMe": own, "listTokens": own, "createToken": own, "changePassword": own, "logOut": own, "listMembers": own,
	"listSessions": own, "endOtherSessions": own, "endSession": {hidden, hidden, hidden, done, hidden, hidden, hidden}, // the lead's own session
	"getLogInProvider": {done, done, done, done, done, hidden, hidden}, "removeLogInProvider": {done, barred, barred, done, barred, hidden, hidden},
	"setLogInProvider": {done, barred, barred, done, barred, done, done}, "listAccess": {done, barred, barred, done, barred, done, done},
	"revokeToken": {hidden, hidden, hidden, done, hidden, hidden, hidden}, // the lead's own token

	"listVendors":  own,
	"createVendor": {done, barred, barred, barred, barred, barred, done},
	"invite":       {done, barred, barred, done, barred, barred, hidden}, // into the vendor

	"listProjects":   own,
	"createProject":  {done, barred, barred, barred, barred, barred, done},
	"getProject":     studioOnly,
	"listWorkOrders": own, "getWorkOrder": both,
	"createWorkOrder": {done, barred, barred, barred, barred, barred, hidden},
	"listProps":       both, "getProp": both,
	"createProp": {done, barred, barred, barred, barred, hidden, hidden},
	"listSpecs":  both, "getSpec": both, "explainSpec": both,
	"publishSpec":     {done, done, done, barred, barred, hidden, hidden},
	"trySpec":         {done, done, done, barred, barred, hidden, hidden},
	"acknowledgeSpec": {barred, barred, barred, done, barred, hidden, barred},
	"listCalendars":   own, "setCalendar": {done, barred, barred, done, barred, done, done},
	"listOrderCalendars": both, "pinCalendar": {done, barred, barred, done, barred, hidden, hidden},
	"listChangeOrders": both, "getChangeOrder": both, "compareSpecs": both,
	"offerChange": {done, barred, barred, done, barred, hidden, hidden}, "decideChange": {done, barred, barred, done, barred, hidden, hidden},
	"holdMilestone": {done, done, barred, barred, barred, barred, hidden}, "resumeMilestone": {done, done, barred, barred, barred, barred, hidden},
	"cancelMilestone": {done, barred, barred, barred, barred, barred, hidden},

	"openDelivery":   vendorActs,
	"listDeliveries": own, "getDelivery": both, "getUploads": both, "getFileContent": both,
	"completeFile": {barred, barred, barred, done, done, hidden, hidden},
	"sealDelivery": vendorActs, "abandonDelivery": vendorActs,

	"listInspections":   both,
	"reinspectDelivery": {done, done, done, barred, barred, barred, hidden},
	"getInspection":     both, "listFindings": both, "getEvidence": both, "getPicture": both,

	"grantConcession": {barred, done, barred, barred, barred, barred, hidden},
	"listConcessions": both, "listNotes": both, "addNote": both, "listSignOffs": both,
	"signOff":        {barred, done, done, barred, barred, barred, hidden}, // a return; accepting is tested below
	"prepareSignOff": {barred, done, done, barred, barred, barred, hidden}, "listPendingSignOffs": own,
	"undoSignOff": nobodys, "sendSignOff": nobodys, // it is another member's
	"listBatches": both, "getBatch": both, "openBatch": {barred, barred, barred, done, done, hidden, barred}, "sealBatch": vendorActs,
	"decideBatch":   {barred, done, done, barred, barred, barred, hidden},
	"listQuestions": own, "getQuestion": both, "askQuestion": {barred, barred, barred, done, done, hidden, barred}, "replyToQuestion": both,
	"resolveNote":     {barred, barred, barred, done, done, hidden, hidden}, // the vendor's own note
	"listPermissions": both, "getPermission": both,
	"permit": {barred, done, barred, done, done, hidden, hidden}, "decidePermission": {barred, done, barred, done, done, hidden, hidden},
	"importProps":  {done, barred, barred, barred, barred, hidden, hidden},
	"listDeputies": own, "appointDeputy": {done, done, barred, barred, barred, barred, hidden},
	"listReferences": both, "getReferences": {done, done, done, done, barred, hidden, hidden}, // a secret order, and the artist has not acknowledged that
	"createReferences":  {done, done, done, barred, barred, barred, hidden},
	"publishReferences": {done, done, done, barred, barred, hidden, hidden}, "acknowledgeReferences": {barred, barred, barred, done, barred, hidden, barred},
	"acknowledgeSecrecy": {barred, barred, barred, done, done, hidden, barred},
	"openMaintenance":    {done, done, done, barred, barred, barred, hidden},
	"getRetention":       both, "setRetention": {done, barred, barred, barred, barred, barred, hidden}, "listStored": own, "listQuotas": own, "setQuota": {done, barred, barred, barred, barred, barred, hidden},
	"listPaymentHolds": both, "releasePayment": {done, barred, barred, barred, barred, barred, hidden},
	"listSets": both, "listSetUsers": both, "useSet": both,
	"listOrigins": both, "declareOrigin": {barred, barred, barred, done, barred, hidden, barred},
	"listCapacity": own, "setCapacity": {barred, barred, barred, done, barred, done, barred},
	"reassignProp":  {done, barred, barred, barred, barred, hidden, hidden},
	"listHandovers": studioOnly, "getHandover": studioOnly, "getHandoverPackage": studioOnly, "handOver": {done, done, done, barred, barred, barred, hidden},
	"disableMember": {hidden, barred, barred, done, barred, hidden, hidden}, "eraseMember": {hidden, barred, barred, done, barred, hidden, hidden},
	"listFigures": own, "listFailingChecks": own, "getPlan": both,
	"proveSession":   own,
	"listSavedViews": own, "saveView": own, "removeSavedView": {hidden, hidden, hidden, done, hidden, hidden, hidden}, // the lead's own
	"listSavedNotes": own, "saveNote": {done, done, done, barred, barred, barred, done}, "removeSavedNote": {hidden, hidden, hidden, barred, barred, barred, hidden}, // one that is not there
	"getNeeds": own, "listLines": own, "getReading": own, "setReading": own, "getMailChoices": own, "setMailChoices": own,
	"changeSpecs": {done, done, done, barred, barred, hidden, hidden}, "acknowledgeSpecs": {barred, barred, barred, done, barred, hidden, barred},
	"listMyWork": own, "listPayables": own, "exportPayables": own,

	"streamEvents": own, "listNews": own,
	"listWebhooks": leads, "createWebhook": leads,
	"getWebhook": leadsOwn, "changeWebhook": leadsOwn, "rotateWebhookSecret": leadsOwn, "pingWebhook": leadsOwn, "listWebhookMessages": leadsOwn, "replayWebhook": leadsOwn, "removeWebhook": leadsOwn,
	"listLogs": own, "listEvents": both, "getConsistency": both, "getReceipt": both, "exportWorkOrder": both,
}

// open operations take anybody.
var open = []string{"getHealth", "getReadiness", "getDescription", "getProblem", "logIn", "acceptInvitation"}

// world is one work order with everything in it, and everybody around it.
type world struct {
	s       *service
	people  map[string]*person
	c       contract
	ids     map[string]string // by path parameter
	issuer  string            // of both sides' provider
	secrets []string          // what strangers must never see
}

func newWorld(t *testing.T) *world {
	s := start(t)
	first := s.studio("Harbour Works", "ines@harbour.example")
	lead := first.vendor("Krane Salvage Models", "ole@krane.example")
	w := &world{s: s, people: map[string]*person{
		"producer":         first.invite(first.party.String(), "p@harbour.example", "producer"),
		"art director":     first.invite(first.party.String(), "ad@harbour.example", "art_director"),
		"technical artist": first.invite(first.party.String(), "ta@harbour.example", "technical_artist"),
		"vendor lead":      lead,
		"vendor artist":    lead.invite(lead.party.String(), "art@krane.example", "vendor_artist"),
		"other vendor":     first.vendor("Ninth Lock", "tamsin@ninth.example"),
		"other studio":     s.studio("Far Shore", "far@shore.example"),
	}}
	w.c = first.contract(lead, "lantern_a")
	game, sculpt := someFiles("one")
	delivery := lead.deliver(w.c.milestones[0], game, sculpt)
	job := s.inspect(ledger.VerdictFail)
	token := lead.ok("POST", "/v1/tokens", map[string]any{"name": "t", "scopes": []string{"read"}})
	change := first.ok("POST", "/v1/milestones/"+w.c.milestones[1]+"/change-orders", map[string]any{"title": "A hinge", "reason": "it swings", "price": map[string]any{"amount_minor": 471112, "currency": "EUR"}})
	question := lead.ok("POST", "/v1/props/"+w.c.prop+"/questions", map[string]any{"text": "Which way round?", "blocks": true})
	permission := lead.ok("POST", "/v1/work-orders/"+w.c.order+"/permissions", map[string]any{"kind": "permit", "check": "uv.stretch", "reason": "rope is straightened"})
	note := lead.ok("POST", "/v1/deliveries/"+delivery+"/notes", map[string]any{"text": "the seam is meant"})
	pending := first.ok("POST", "/v1/deliveries/"+delivery+"/pending-sign-offs", map[string]any{"decision": "return", "reason": "it leans", "inspection_id": job.Inspection.ID.String(), "wait": true})
	second := first.contract(lead, "lantern_z")
	batch := lead.batch(second, second.milestones[0])
	after := first.aftercare(lead)
	w.issuer = newHostile(t).URL
	for _, p := range []*person{first, lead} {
		p.ok("PUT", "/v1/log-in-provider", map[string]any{"issuer": w.issuer, "client_id": "house", "required": false})
	}
	further := w.s.logInOrSkip(t, lead)
	hook := lead.ok("POST", "/v1/webhooks", map[string]any{"url": "https://hooks.krane.example/in"})
	w.ids = map[string]string{
		"webhook_id":        hook.get(t, "webhook.id"),
		"pending_id":        pending.get(t, "id"),
		"saved_view_id":     lead.ok("POST", "/v1/saved-views", map[string]any{"name": "late", "query": "late=yes"}).get(t, "id"),
		"saved_note_id":     uuid.NewString(),
		"reference_pack_id": after.pack, "payment_hold_id": after.hold, "handover_id": after.handover,
		"deputy":      w.people["technical artist"].ok("GET", "/v1/me", nil).get(t, "member_id"),
		"member_id":   lead.invite(lead.party.String(), "gone@krane.example", "vendor_artist").ok("GET", "/v1/me", nil).get(t, "member_id"),
		"question_id": question.get(t, "id"), "permission_id": permission.get(t, "id"), "note_id": note.get(t, "id"),
		"batch_id": batch.get(t, "id"), "batch_delivery": batch.get(t, "deliveries.0.id"),
		"change_order_id": change.get(t, "id"),
		"session_id":      further.ok("GET", "/v1/sessions", nil).get(t, "items.0.id"),
		"token_id":        token.get(t, "token.id"), "project_id": w.c.project, "work_order_id": w.c.order, "prop_id": w.c.prop, "spec_id": w.c.spec,
		"milestone_id": w.c.milestones[0], "delivery_id": delivery, "inspection_id": job.Inspection.ID.String(), "picture": "front.png",
		"file_id": lead.ok("GET", "/v1/deliveries/"+delivery, nil).get(t, "files.0.id"), "log_id": w.c.order,
		"kind": "delivery.sealed", "subject_id": delivery, "problem": "not-found",
	}
	w.secrets = []string{"lantern_a", "W_lantern_a", "Krane", "Ole", "58000", "145000", "471112"}
	for _, id := range w.ids {
		if _, err := uuid.Parse(id); err == nil {
			w.secrets = append(w.secrets, id)
		}
	}
	return w
}

// operation is one of the description's.
type operation struct {
	id, method, path string
	op               *openapi3.Operation
}

func operations(t *testing.T) []operation {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Description)
	require.NoError(t, err)
	var all []operation
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			all = append(all, operation{op.OperationID, method, path, op})
		}
	}
	last := map[string]int{"removeWebhook": 1, "cancelMilestone": 1, "endOtherSessions": 1, "logOut": 2, "changePassword": 3} // they end what the others need
	slices.SortFunc(all, func(a, b operation) int {
		return cmp.Or(cmp.Compare(last[a.id], last[b.id]), strings.Compare(a.id, b.id))
	})
	return all
}

var parameter = regexp.MustCompile(`\{([a-z_]+)\}`)

// address fills the operation's path with the world's ids, or with ids of nothing.
func (w *world) address(o operation, ofNothing bool) string {
	path := parameter.ReplaceAllStringFunc(o.path, func(p string) string {
		id := w.ids[p[1:len(p)-1]]
		if _, err := uuid.Parse(id); ofNothing && err == nil {
			return uuid.NewString()
		}
		return id
	})
	switch o.id {
	case "getConsistency":
		path += "?from=1&to=2"
	case "getPlan":
		order := w.c.order
		if ofNothing {
			order = uuid.NewString()
		}
		path += "?work_order_id=" + order
	}
	return path
}

// body is the description's own example with the world's ids in it.
func (w *world) body(t *testing.T, o operation, n int) any {
	t.Helper()
	if o.op.RequestBody == nil {
		return nil
	}
	if sheet := o.op.RequestBody.Value.Content["text/csv"]; sheet != nil {
		return csvText(strings.ReplaceAll(sheet.Example.(string), "rope_a", fmt.Sprint("rope_", n)))
	}
	text, err := json.Marshal(o.op.RequestBody.Value.Content["application/json"].Example)
	require.NoError(t, err)
	var body map[string]any
	require.NoError(t, json.Unmarshal(text, &body))
	for key, id := range map[string]string{"project_id": w.c.project, "vendor_id": w.people["vendor lead"].party.String(), "party_id": w.people["vendor lead"].party.String()} {
		if _, has := body[key]; has {
			body[key] = id
		}
	}
	if _, has := body["code"]; has {
		body["code"] = fmt.Sprintf("%v_%d", body["code"], n)
	}
	if _, has := body["email"]; has && o.id == "invite" {
		body["email"] = fmt.Sprintf("new%d@krane.example", n)
	}
	switch o.id {
	case "createVendor":
		body["name"] = fmt.Sprintf("Vendor %d", n)
	case "decideBatch":
		body["decisions"] = []map[string]any{{"delivery_id": w.ids["batch_delivery"], "decision": "return", "reason": "once more"}}
	case "openBatch":
		body["deliveries"].([]any)[0].(map[string]any)["milestone_id"] = w.c.milestones[0]
	case "replyToQuestion":
		delete(body, "spec_id")
	case "appointDeputy":
		body["member_id"] = w.ids["deputy"]
	case "reassignProp":
		body["work_order_id"] = w.c.order // of the same vendor: 422
	case "useSet":
		body["set_id"] = w.c.prop // which is no set: 422
	case "permit":
		body["prop_id"] = w.c.prop
	case "grantConcession":
		body["ord"] = 1 // the finding that failed
	case "prepareSignOff":
		body["inspection_id"] = w.ids["inspection_id"]
	case "setLogInProvider":
		body["issuer"] = w.issuer
	case "changeSpecs":
		body["prop_ids"] = []string{w.c.prop}
	case "acknowledgeSpecs":
		body["spec_ids"] = []string{w.c.spec}
	case "proveSession":
		body["password"] = password
	case "createToken":
		body["scopes"] = []string{"read"}
	case "changePassword":
		body["old"] = password
	}
	return body
}

func outcome(status int) string {
	switch {
	case status == 401:
		return login
	case status == 403:
		return barred
	case status == 404:
		return hidden
	case status < 400, status == 409, status == 412, status == 422:
		return done
	}
	return fmt.Sprint(status)
}

func TestEveryOperationForEveryCaller(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for _, caller := range []string{"producer", "technical artist", "vendor lead"} { // a hero prop is the art director's to accept
		a := w.people[caller].do("POST", "/v1/deliveries/"+w.ids["delivery_id"]+"/sign-offs", map[string]any{"decision": "accept"})
		require.Equal(t, 403, a.status, "%s: %s", caller, a.body)
	}
	all := operations(t)
	seen := map[string]bool{}
	for n, o := range all {
		seen[o.id] = true
		if slices.Contains(open, o.id) {
			require.NotNil(t, o.op.Security, "%s is open to all and must say so", o.id)
			continue
		}
		want := matrix[o.id]
		require.Len(t, want, len(callers), "%s is not in the matrix", o.id)
		anonymous := w.s.nobody().do(o.method, w.address(o, false), w.body(t, o, n))
		require.Equal(t, 401, anonymous.status, "%s for nobody: %s", o.id, anonymous.body)
		forged := &person{s: w.s, token: "pht_" + strings.Repeat("x", 43)}
		require.Equal(t, 401, forged.do(o.method, w.address(o, false), w.body(t, o, n)).status, "%s with a forged token", o.id)
		// Those who may not call it come first, so that what the others do cannot change their answer.
		for _, pass := range []bool{false, true} {
			for i, caller := range callers {
				if (want[i] == done) != pass {
					continue
				}
				p := w.people[caller]
				if o.id == "logOut" || o.id == "changePassword" { // a session of its own, so that the matrix goes on
					p = w.s.logInOrSkip(t, p)
				}
				body := w.body(t, o, n*100+i)
				a := p.do(o.method, w.address(o, false), body)
				require.Equal(t, want[i], outcome(a.status), "%s for %s: %d %s", o.id, caller, a.status, a.body)
				w.check(t, o, caller, p, a, body)
			}
		}
	}
	for _, id := range append(slices.Collect(maps.Keys(matrix)), open...) {
		require.True(t, seen[id], "%s is in the matrix and not in the description", id)
	}
}

// logInOrSkip gives the caller a second session; everybody's password is the same and may have been changed by now.
func (s *service) logInOrSkip(t *testing.T, p *person) *person {
	t.Helper()
	for _, try := range []string{password, "another long sentence of your own"} {
		a := s.nobody().do("POST", "/v1/sessions", map[string]any{"email": p.email, "password": try})
		if a.status == http.StatusCreated {
			cookie, _, _ := strings.Cut(a.header.Get("Set-Cookie"), ";")
			return &person{s: s, email: p.email, cookie: cookie, party: p.party}
		}
	}
	require.Fail(t, "cannot log in", p.email)
	return nil
}

// check holds what goes beyond the status: problems have their shape, strangers see nothing of the work order, and what
// is hidden answers as what does not exist.
func (w *world) check(t *testing.T, o operation, caller string, p *person, a answer, body any) {
	t.Helper()
	if a.status >= 400 {
		require.Equal(t, "application/problem+json", a.header.Get("Content-Type"), o.id)
		require.True(t, strings.HasPrefix(a.get(t, "type"), "/problems/"), o.id)
		require.NotEmpty(t, a.get(t, "what_to_do"))
	}
	if caller != "other vendor" && caller != "other studio" {
		return
	}
	text := requestID.ReplaceAllString(string(a.body), "") // random digits may spell a price
	for _, secret := range w.secrets {
		if !strings.Contains(fmt.Sprint(body), secret) { // one's own input may come back in what one made
			require.NotContains(t, text, secret, "%s for %s", o.id, caller)
		}
	}
	if a.status == 404 {
		nothing := p.do(o.method, w.address(o, true), body)
		require.Equal(t, 404, nothing.status, "%s for %s", o.id, caller)
		require.Equal(t, withoutInstance(t, a), withoutInstance(t, nothing), "%s for %s", o.id, caller)
	}
}

func withoutInstance(t *testing.T, a answer) map[string]any {
	t.Helper()
	var m map[string]any
	require.NoError(t, json.Unmarshal(a.body, &m))
	delete(m, "instance")
	return m
}

// A token does what its scopes say and no more, whatever its member may do.
func TestEveryOperationForTokensWithoutItsScope(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	tokens := map[string]map[string]*person{}
	for _, caller := range []string{"producer", "art director", "vendor lead"} {
		tokens[caller] = map[string]*person{}
		for _, scope := range []string{"read", "deliver", "order", "review", "admin"} {
			a := w.people[caller].ok("POST", "/v1/tokens", map[string]any{"name": scope, "scopes": []string{scope}})
			tokens[caller][scope] = &person{s: w.s, token: a.get(t, "secret"), party: w.people[caller].party}
		}
	}
	for n, o := range operations(t) {
		if slices.Contains(open, o.id) || o.id == "changePassword" {
			continue
		}
		needs := "read"
		if o.op.Security != nil {
			for _, way := range *o.op.Security {
				if scopes := way["token"]; len(scopes) > 0 {
					needs = scopes[0]
				}
			}
		}
		for caller, byScope := range tokens {
			for scope, p := range byScope {
				a := p.do(o.method, w.address(o, false), w.body(t, o, n*100+7))
				if needs != "read" && scope != needs {
					require.Equal(t, 403, a.status, "%s by a token of the %s for %s: %s", o.id, caller, scope, a.body)
				} else if needs == "read" && o.id != "logOut" {
					require.Equal(t, matrix[o.id][slices.Index(callers, caller)], outcome(a.status), "%s by a token of the %s for %s: %s", o.id, caller, scope, a.body)
				}
			}
		}
	}
}

// Every operation of the description is served at its address, and nothing under /v1 is served that is not in it.
func TestEveryOperationIsServedAndNothingElse(t *testing.T) {
	t.Parallel()
	s := start(t)
	described := map[string]bool{}
	for _, o := range operations(t) {
		described[o.method+" "+parameter.ReplaceAllString(o.path, ":$1")] = true
	}
	served := map[string]bool{}
	for _, route := range s.routes {
		if strings.HasPrefix(route, "echo_route_not_found") || strings.Contains(route, " /login/") { // the test's own two pages
			continue
		}
		served[route] = true
	}
	for route := range described {
		require.True(t, served[route], "%s is described and not served", route)
	}
	for route := range served {
		require.True(t, described[route], "%s is served and not described", route)
	}
	for _, path := range []string{"/v1/nothing", "/v1/", "/problems/none"} {
		a := s.nobody().do("GET", path, nil)
		require.Equal(t, 404, a.status, path)
		require.Equal(t, "/problems/not-found", a.get(t, "type"))
	}
	wrong := s.nobody().do("PUT", "/v1/me", nil)
	require.Equal(t, 405, wrong.status)
	require.Equal(t, "/problems/method-not-allowed", wrong.get(t, "type"))
	require.Equal(t, "GET", wrong.header.Get("Allow"))
	require.Equal(t, string(openapi.Description), string(s.nobody().ok("GET", "/v1/openapi", nil).body))
	require.Contains(t, string(s.nobody().ok("GET", "/problems/bytes-missing", nil).body), "Upload the files")
	require.Equal(t, "ok", s.nobody().ok("GET", "/healthz", nil).get(t, "status"))
	require.Equal(t, "ok", s.nobody().ok("GET", "/readyz", nil).get(t, "parts.storage"))
}

var requestID = regexp.MustCompile(`urn:request:[0-9a-f-]{36}`)
