package acceptance

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/canon"
)

// shares of the whole that the stages of an inspection take, for the progress bar: rough, from measured runs.
const (
	doneHashing  = 0.1
	doneReading  = 0.3
	doneChecks   = 0.75
	donePictures = 1.0
)

// inspect is Inspect.
func inspect(ctx context.Context, job Job) (*Result, error) {
	if job.Spec == nil {
		return nil, errors.New("inspect: no spec")
	}
	tell := func(what string, done float64) {
		if job.Progress != nil {
			job.Progress(what, done)
		}
	}
	wanted, err := chosen(checks(), job.Only)
	if err != nil {
		return nil, fmt.Errorf("inspect: %w", err)
	}
	m, questions, err := manifestFor(job)
	if err != nil {
		return nil, err
	}
	sp := specFor(job, m)
	files := filesOf(job.Folder, m, sp)
	stage := func(from, to float64) func(string, float64) {
		return func(what string, share float64) { tell(what, from+float64((to-from)*share)) }
	}
	hashing := stage(0, doneHashing)
	if err := hashFiles(ctx, job.Folder, files, job.Hashes, func(done float64) { hashing("hashing", done) }); err != nil {
		return nil, err
	}
	s, exempted, asked, err := build(ctx, sp, job.Folder, files, job.Threads, stage(doneHashing, doneReading))
	if err != nil {
		return nil, err
	}
	defer closeScenes(s)
	s = inConvention(s)
	questions = append(questions, asked...)
	if err := compareWith(s, job.Previous); err != nil {
		return nil, err
	}

	s.known, s.keepBake = job.Known, job.KeepBake
	mended, findings, err := runAll(ctx, s, wanted, stage(doneReading, doneChecks))
	if err != nil {
		return nil, err
	}
	var pics []Picture
	if job.Pictures {
		if pics, err = makePictures(ctx, mended, findings, stage(doneChecks, donePictures)); err != nil {
			return nil, err
		}
	}
	pics = append(pics, keptBakes(ctx, mended, findings)...)
	e := assemble(s, job.Only, findings, exempted, pics)
	if e.Spec.Setting, err = sp.SettingDigest(); err != nil {
		return nil, fmt.Errorf("evidence: %w", err)
	}
	canonical, err := canon.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("evidence: %w", err)
	}
	tell("done", 1)
	return &Result{Evidence: e, Canonical: canonical, SHA256: canon.Digest(canonical), Pictures: pics, Manifest: m, Questions: questions}, nil
}

// manifestFor is the manifest to judge by: the caller's, the folder's own, or one told from names.
func manifestFor(job Job) (*Manifest, []Question, error) {
	m := job.Manifest
	if m == nil {
		var err error
		if m, err = readManifest(job.Folder); err != nil {
			return nil, nil, err
		}
	}
	if m == nil {
		return Infer(job.Spec, job.Folder)
	}
	if m.Prop != job.Spec.Prop {
		return nil, nil, fmt.Errorf("%w: it is of the prop %q, the spec is of %q", ErrDelivery, m.Prop, job.Spec.Prop)
	}
	paths, questions, err := listFiles(job.Folder)
	if err != nil {
		return nil, nil, err
	}
	for _, p := range paths {
		if !slices.ContainsFunc(m.Files, func(f ManifestFile) bool { return f.Path == p }) {
			questions = append(questions, question(p, "question.unlisted"))
		}
	}
	return m, questions, nil
}

// specFor is the spec for the delivery's milestone: the caller's word first, then the manifest's, then the spec's own.
func specFor(job Job, m *Manifest) *spec.Spec {
	switch {
	case job.Milestone != "":
		return job.Spec.At(job.Milestone)
	case m.Milestone != "":
		return job.Spec.At(m.Milestone)
	}
	return job.Spec
}

// filesOf turns the manifest's entries into files, in its order.
func filesOf(folder string, m *Manifest, sp *spec.Spec) []*File {
	table, _ := newRoleTable(sp) // a table that cannot be made is reported by build
	var files []*File
	for _, mf := range m.Files {
		f := &File{Path: mf.Path, Abs: filepath.Join(folder, filepath.FromSlash(mf.Path)), Role: mf.Role}
		f.Declared.SHA256, f.Declared.Bytes = mf.SHA256, -1
		if mf.Bytes != nil {
			f.Declared.Bytes = *mf.Bytes
		}
		if _, set, ok := mapRole(mf.Role); ok {
			f.Set = set
		}
		if table != nil {
			f.Part = table.file(mf.Path).Part
		}
		files = append(files, f)
	}
	return files
}

func closeScenes(s *Subject) {
	for _, f := range s.Files {
		if f.Scene != nil {
			f.Scene.Close()
		}
	}
}

// makePictures guards the pictures: one that cannot be made is left out and takes nothing else with it.
func makePictures(ctx context.Context, s *Subject, findings []Finding, progress func(string, float64)) (pics []Picture, err error) {
	defer func() {
		if p := recover(); p != nil {
			pics = nil
		}
		if ctx.Err() != nil {
			pics, err = nil, ctx.Err()
		}
	}()
	pics = pictures(ctx, s, findings, progress)
	for i := range pics {
		for j := range findings {
			if slices.Contains(pics[i].Checks, findings[j].Check) {
				findings[j].Pictures = append(findings[j].Pictures, pics[i].Name)
			}
		}
	}
	return pics, nil
}

// assemble puts the evidence together. s is the delivery as it came, not as mended.
func assemble(s *Subject, only []string, findings []Finding, exempted []Exempt, pics []Picture) *Evidence {
	e := &Evidence{
		Schema: "proofhouse/evidence/1",
		Engine: EngineNow(),
		Spec:   SpecRef{Prop: s.Spec.Prop, Digest: s.Spec.Digest, Tier: s.Spec.Tier, Milestone: s.Spec.Milestone},
		Inputs: []Input{}, Content: s.content, Previous: s.previousRef, Only: only, Findings: findings, Exempt: exempted, Pictures: []PicRef{},
	}
	if e.Findings == nil {
		e.Findings = []Finding{}
	}
	for _, f := range s.Files {
		e.Inputs = append(e.Inputs, Input{Path: f.Path, Role: roleWithSet(f), Bytes: f.Bytes, SHA256: f.SHA256})
	}
	for _, p := range pics {
		says := words.P(words.Literal, words.Own("picture."+pictureKind(p.Name)+"/said", p.What))
		e.Pictures = append(e.Pictures, PicRef{Name: p.Name, What: p.What, Says: &says, SHA256: p.SHA256})
	}
	e.Verdict = verdictOf(findings)
	e.Headline = headlineText(words.English(), e)
	return e
}

// pictureKinds are what pictures show, by how their files' names begin.
var pictureKinds = []string{
	"prop_lit", "prop_clay", "prop_game_distance", "prop_true_pixels", "deviation_sides", "deviation", "silhouette_worst", "topology", "uv_density",
	"rebake_normal", "bake_normal", "bake_position", "bake_occlusion", "map_bleed", "map_base_color", "model_game", "model_sculpt",
}

// pictureKind is what a picture shows: the first kind that its file's name begins with.
func pictureKind(name string) string {
	for _, kind := range pictureKinds {
		if strings.HasPrefix(name, kind) {
			return kind
		}
	}
	return "other"
}

// roleWithSet is a file's role as the inspection understood it: a map's with the set that it was bound to.
func roleWithSet(f *File) string {
	if name, set, ok := mapRole(f.Role); ok && set == "" && f.Set != "" {
		return "map." + name + "@" + f.Set
	}
	return f.Role
}

// isFirst says whether a headline may name a finding as the first.
func isFirst(e *Evidence, f Finding) bool {
	return f.FollowsFrom == "" && f.Blocks && (f.Outcome == Fail || f.Outcome == NotEvaluated && e.Verdict == VerdictNotEvaluated)
}

// FirstIssue is the sentence that the headline names as the first issue, as data; nothing where it names none.
func FirstIssue(e *Evidence) []words.Phrase {
	for _, f := range e.Findings {
		if isFirst(e, f) {
			return f.Says
		}
	}
	return nil
}

// headlineText sums the findings up in one line. It speaks of the machine's findings, never of the art.
func headlineText(l *words.Language, e *Evidence) string {
	var issues, unrun, warnings int
	var first string
	for _, f := range e.Findings {
		if f.FollowsFrom != "" {
			continue
		}
		isIssue := f.Blocks && f.Outcome == Fail
		isUnrun := f.Blocks && f.Outcome == NotEvaluated
		switch {
		case isIssue:
			issues++
		case isUnrun:
			unrun++
		case f.Outcome == Warn:
			warnings++
		}
		if first == "" && isFirst(e, f) {
			first = f.Sentence
		}
	}
	text := l.Say("engine.headline.clear")
	switch {
	case issues > 0:
		text = l.Say("engine.headline.issues", words.Count(issues), words.Name(first))
	case unrun > 0:
		text = l.Say("engine.headline.not_evaluated", words.Count(unrun), words.Name(first))
	case warnings > 0:
		text = l.Say("engine.headline.warnings", words.Count(warnings))
	}
	if len(e.Only) > 0 {
		text = l.Say("engine.headline.partial", words.Names(e.Only...), words.Name(text))
	}
	return text
}
