package acceptance

import "context"

func inspect(ctx context.Context, job Job) (*Result, error) {
	s := &Subject{Spec: job.Spec, Folder: job.Folder}
	var findings []Finding
	for _, st := range plan(s, checks()) {
		if f := runStep(ctx, s, st); f.Outcome != "" {
			findings = append(findings, f)
		}
	}
	e := &Evidence{Schema: "proofhouse/evidence/1", Verdict: verdictOf(findings), Findings: findings}
	return &Result{Evidence: e}, ctx.Err()
}
