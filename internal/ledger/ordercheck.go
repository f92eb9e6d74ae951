package ledger

import (
	"context"
	"fmt"
	"strings"
)

// faults gathers what is wrong with something that is to be ordered.
type faults []*Invalid

func (f *faults) add(wrong bool, field, format string, args ...any) {
	if wrong {
		*f = append(*f, &Invalid{Field: field, Why: fmt.Sprintf(format, args...)})
	}
}

// first is the fault to refuse with, nil where there is none.
func (f faults) first() error {
	if len(f) == 0 {
		return nil
	}
	return f[0]
}

func (f *faults) codeTitle(code, title string) {
	f.add(!codeForm.MatchString(code), "code", "needs 1 to 64 letters, digits, dots, dashes or underscores")
	n := len([]rune(title))
	f.add(n < 1 || n > 200, "title", "needs 1 to 200 characters")
}

func checkCodeTitle(code, title string) error {
	var f faults
	f.codeTitle(code, title)
	return f.first()
}

// Faults is everything that is wrong with a project before it is started; that its code is taken shows only then.
func (in NewProject) Faults() []*Invalid {
	var f faults
	f.codeTitle(in.Code, strings.TrimSpace(in.Title))
	return f
}

// Faults is everything that is wrong with an order before it is placed; that its code is taken shows only then.
func (in NewWorkOrder) Faults() []*Invalid {
	var f faults
	f.codeTitle(in.Code, strings.TrimSpace(in.Title))
	f.add(!currencyForm.MatchString(in.Currency), "currency", "is not a code of ISO 4217")
	f.add(in.RoundsIncluded < 0 || in.RoundsIncluded > 100, "rounds_included", "is not within 0 to 100")
	f.add(in.ReviewDays < 1 || in.ReviewDays > 365, "review_days", "is not within 1 to 365")
	f.add(len([]rune(in.Codename)) > 64, "codename", "is over 64 characters")
	f.add(in.KillFeeBP < 0 || in.KillFeeBP > 10000, "kill_fee_bp", "is not within 0 to 10000 basis points")
	f.add(len([]rune(in.Terms)) > termsMax, "terms", "are over %d characters", termsMax)
	return append(f, sourceRoles(in.SourceRoles)...)
}

// Faults is everything that is wrong with a prop before it is ordered.
func (in NewProp) Faults() []*Invalid {
	var f faults
	f.codeTitle(in.Code, strings.TrimSpace(in.Title))
	f.add(!tiers[in.Tier], "tier", "is not background, mid, hero or close_up")
	f.add(!propKinds[in.Kind], "kind", "is not prop, texture_set or kit")
	f.add(in.Kit != "" && !codeForm.MatchString(in.Kit), "kit", "needs 1 to 64 letters, digits, dots, dashes or underscores")
	f.add(in.Pilot && in.Kit == "", "pilot", "is the first of a kit, and no kit is named")
	f.add(in.PriceMinor < 0 || in.PriceMinor > priceMax, "price_minor", "is not within 0 to %d", int64(priceMax))
	seen, sum := map[string]bool{}, 0
	for i, m := range in.Milestones {
		field := fmt.Sprintf("milestones[%d]", i)
		f.add(!milestoneKinds[m.Kind], field+".kind", "is not block_out, sculpt, game_mesh, maps or final")
		f.add(seen[m.Kind], field+".kind", "%s stands there twice", m.Kind)
		f.add(m.ShareBP < 0 || m.ShareBP > 10000, field+".share_bp", "is not within 0 to 10000 basis points")
		seen[m.Kind] = true
		sum += m.ShareBP
	}
	f.add(len(in.Milestones) == 0, "milestones", "needs at least one milestone")
	f.add(len(in.Milestones) > 0 && sum != 10000, "milestones", "have shares of %d basis points together, not 10000", sum)
	return f
}

// Amounts is the price split over the milestones as ordering it does, in minor units.
func (in NewProp) Amounts() []int64 {
	shares := make([]int, len(in.Milestones))
	for i, m := range in.Milestones {
		shares[i] = m.ShareBP
	}
	return splitAmount(in.PriceMinor, shares)
}

// CodesTaken says which codes of an order, and of a project to start with it, the studio has used already. The project's field is
// project_code.
func (tx *Tx) CodesTaken(ctx context.Context, in NewWorkOrder, project *NewProject) ([]*Invalid, error) {
	var f faults
	var order, started bool
	code := ""
	if project != nil {
		code = project.Code
	}
	err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM ph.work_order WHERE studio_id = $1 AND code = $2), EXISTS (SELECT FROM ph.project WHERE studio_id = $1 AND code = $3)`,
		tx.Who.Party, in.Code, code).Scan(&order, &started) // by work_order_code_key and project_code_key
	if err != nil {
		return nil, fmt.Errorf("codes that are taken: %w", err)
	}
	f.add(order, "code", "is another order's already: choose one that is free")
	f.add(started, "project_code", "is another project's already: choose that project, or a free code")
	return f, nil
}
