package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"sort"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

func replaceColumn(query, column string) string { return strings.ReplaceAll(query, "?", column) }

// target is one way to ask a route; the questions are drawn from its variants.
type target struct {
	route    string
	variants []variant
}

// variant is one question of one caller.
type variant struct {
	url    string
	caller *caller
}

// left are routes that are not measured at the constant rate, each with its reason.
var left = map[string]string{
	"/v1/work-orders/{work_order_id}/export": "a whole record to take away, as long as the order is large; measured by itself, above",
	"/v1/events":                             "an open stream",
	"/programs/:name":                        "a release's program to take away; none lies beside the measured service",
	"/v1/log-in-provider":                    "for a studio's administrator, one row",
	"/props/export":                          "a whole list to take away; measured by itself, above",
	"/v1/payables/export":                    "a whole list to take away; measured by itself, above",
	"/v1/batches/{batch_id}":                 "the ledger drawn has none", "/v1/change-orders/{change_order_id}": "the ledger drawn has none",
	"/v1/handovers/{handover_id}": "the ledger drawn has none", "/v1/handovers/{handover_id}/package": "the ledger drawn has none",
	"/v1/permissions/{permission_id}": "the ledger drawn has none", "/v1/references/{reference_pack_id}": "the ledger drawn has none",
	"/references/:id": "the ledger drawn has none", "/references/:id/files/:file": "the ledger drawn has none",
	"/v1/webhooks/{webhook_id}": "the ledger drawn has none", "/v1/webhooks/{webhook_id}/messages": "the ledger drawn has none", "/account/webhooks/:id": "the ledger drawn has none",
	"/permits/:id": "the ledger drawn has none", "/v1/deliveries/{delivery_id}/files/{file_id}/content": "the files drawn have no bytes in the storage", "/reset/:secret": "no reader is logged in",
	"/join/:secret": "no reader is logged in", "/join/:secret/with": "no reader is logged in", "/login/with/:id": "no reader is logged in", "/login/with/:id/return": "no reader is logged in",
}

// queries are what is asked of a route beside its bare address; {x} is drawn as in a path.
var queries = map[string][]string{
	"/v1/my-work":                              {"", "?desk=all", "?desk=vendor", "?desk=art_director&limit=100"},
	"/v1/deliveries":                           {"", "?state=sealed", "?work_order_id={work_order_id}", "?prop_id={prop_id}", "?milestone_id={milestone_id}"},
	"/v1/questions":                            {"", "?state=asked", "?work_order_id={work_order_id}"},
	"/v1/payables":                             {"", "?work_order_id={work_order_id}"},
	"/v1/figures":                              {"", "?by=tier", "?vendor_id={vendor_id}", "?from=2026-03-01&to=2026-10-01"},
	"/v1/figures/checks":                       {"", "?vendor_id={vendor_id}", "?tier=hero", "?from=2026-03-01&to=2026-10-01"},
	"/v1/figures/plan":                         {"?work_order_id={work_order_id}", "?project_id={project_id}"},
	"/v1/logs/{log_id}/consistency":            {"?from=5&to=20"},
	"/v1/work-orders/{work_order_id}/props":    {"", "?limit=200"},
	"/v1/inspections/{inspection_id}/findings": {"", "?limit=200"},
	"/props": {"", "?state=review", "?q=bollard", "?tier=hero&sort=code", "?order={work_order_id}"},
}

// paths of the description and of the pages, in the order of their names.
func described(file string) ([]string, error) {
	d, err := openapi3.NewLoader().LoadFromFile(file)
	if err != nil {
		return nil, fmt.Errorf("description: %w", err)
	}
	var out []string
	for path, item := range d.Paths.Map() {
		if item.Get != nil {
			out = append(out, path)
		}
	}
	sort.Strings(out)
	return out, nil
}

var (
	pageRoute = regexp.MustCompile(`\b(?:in|open)\.GET\("([^"]+)", p\.`)
	braces    = regexp.MustCompile(`\{[a-z_]+\}`)
)

// pages reads the addresses of the pages where they are given out.
func pages(file string) ([]string, error) {
	source, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("pages: %w", err)
	}
	var out []string
	for _, m := range pageRoute.FindAllSubmatch(source, -1) {
		out = append(out, string(m[1]))
	}
	sort.Strings(out)
	return slices.Compact(out), nil
}

// idOfPage is what ":id" stands for, by the first part of a page's address.
var idOfPage = map[string]string{
	"orders": "{work_order_id}", "props": "{prop_id}", "specs": "{spec_id}", "deliveries": "{sample}", "review": "{reviewed}", "questions": "{question_id}",
	"inspections": "{sample_inspection}", "projects": "{project_id}", "vendors": "{vendor_id}", "milestones": "{milestone_id}",
}

const variantsEach = 120

// makeTargets draws the questions of each route. A route for which a party has no subject, or which refuses it, is not asked by it;
// one that nobody can ask is given back as missing.
func makeTargets(routes []string, callers []*caller, rng *rand.Rand) (list []target, missing []string) {
	for _, route := range routes {
		if left[route] != "" {
			continue
		}
		path := route
		if strings.HasSuffix(route, "/certificate") {
			path = strings.Replace(path, ":id", "{accepted}", 1) // of what was accepted alone
		}
		if first := strings.Split(strings.Trim(route, "/"), "/")[0]; strings.Contains(path, ":id") {
			path = strings.Replace(path, ":id", idOfPage[first], 1)
		}
		path = strings.Replace(path, ":name", "prop_lit.png", 1)
		path = strings.NewReplacer("{picture}", "prop_lit.png", "{problem}", "not-found", "{delivery_id}/files/{file_id}", "{file}", "{kind}/{subject_id}", "{receipt}").Replace(path)
		switch {
		case strings.HasSuffix(route, "/uploads"):
			path = strings.Replace(path, "{delivery_id}", "{open}", 1)
		case strings.HasSuffix(route, "/evidence") || strings.HasSuffix(route, "/pictures/{picture}"):
			path = strings.Replace(path, "{inspection_id}", "{sample_inspection}", 1)
		}
		asks := queries[route]
		if asks == nil {
			asks = []string{""}
		}
		t := target{route: route}
		for range variantsEach {
			c := callers[rng.IntN(len(callers))]
			if url, ok := fillIn(path+asks[rng.IntN(len(asks))], c.subjects, rng); ok {
				t.variants = append(t.variants, variant{url, c})
			}
		}
		if len(t.variants) == 0 {
			missing = append(missing, route)
			continue
		}
		list = append(list, t)
	}
	return list, missing
}

// fillIn draws what stands in braces.
func fillIn(path string, s subjects, rng *rand.Rand) (string, bool) {
	ok := true
	out := braces.ReplaceAllStringFunc(path, func(name string) string {
		list := s[strings.Trim(name, "{}")]
		if len(list) == 0 {
			ok = false
			return name
		}
		return list[rng.IntN(len(list))]
	})
	return out, ok && !strings.Contains(out, ":id") && !strings.Contains(out, "//")
}
