package desk

import (
	"errors"
	"slices"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/words"
)

// families is a flag's value: the families of checks to make, with commas between them or the flag given again.
type families struct {
	list []string
	l    *words.Language
}

func (f *families) String() string { return strings.Join(f.list, ",") }

// Set takes a family, or a check's name for its family.
func (f *families) Set(text string) error {
	all := acceptance.Families()
	for _, word := range strings.Split(text, ",") {
		name := acceptance.FamilyOf(strings.TrimSpace(word))
		if !slices.Contains(all, name) {
			if near := Nearest(name, all); near != "" {
				return errors.New(f.l.Say("desk.family_near", words.Name(name), words.Name(near)))
			}
			return errors.New(f.l.Say("desk.family_none", words.Name(name), words.Names(all...)))
		}
		if !slices.Contains(f.list, name) {
			f.list = append(f.list, name)
		}
	}
	return nil
}
