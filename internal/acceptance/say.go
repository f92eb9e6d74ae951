package acceptance

import "proofhouse/internal/acceptance/words"

// say sets what the finding says is the matter: its data form, and its English text.
func (f *Finding) say(code string, args ...words.Arg) {
	f.Says = []words.Phrase{phrase(code, args)}
	f.Sentence = words.English().Text(f.Says)
}

// also adds a sentence behind what the finding says.
func (f *Finding) also(code string, args ...words.Arg) {
	f.Says = append(f.Says, phrase(code, args))
	f.Sentence = words.English().Text(f.Says)
}

// remedy sets what puts the fault right; alsoRemedy adds to it.
func (f *Finding) remedy(code string, args ...words.Arg) {
	f.Does = []words.Phrase{phrase(code, args)}
	f.Remedy = words.English().Text(f.Does)
}

func (f *Finding) alsoRemedy(code string, args ...words.Arg) {
	f.Does = append(f.Does, phrase(code, args))
	f.Remedy = words.English().Text(f.Does)
}

// note sets what is said of a place.
func (p *Place) note(code string, args ...words.Arg) {
	q := phrase(code, args)
	p.Says, p.Note = &q, words.English().Sentence(q)
}

// unable is a finding of a check that could not run.
func unable(code string, args ...words.Arg) Finding {
	f := Finding{Outcome: NotEvaluated}
	f.say(code, args...)
	return f
}

// exempt is a finding of a check that does not apply by what the spec says of the target.
func exempt(code string, args ...words.Arg) Finding {
	f := Finding{Outcome: NotApplicable}
	f.say(code, args...)
	return f
}

// phrase keeps text that is no code of the catalogue as it is.
func phrase(code string, args []words.Arg) words.Phrase {
	if len(args) == 0 && !words.English().Has(code) {
		return words.P(words.Literal, words.Name(code))
	}
	return words.P(code, args...)
}
