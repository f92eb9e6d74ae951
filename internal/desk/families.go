package desk

import (
	"fmt"
	"slices"
	"strings"

	"proofhouse/internal/acceptance"
)

// families is a flag's value: the families of checks to make, with commas between them or the flag given again.
type families []string

func (f *families) String() string { return strings.Join(*f, ",") }

// Set takes a family, or a check's name for its family.
func (f *families) Set(text string) error {
	all := acceptance.Families()
	for _, word := range strings.Split(text, ",") {
		name := acceptance.FamilyOf(strings.TrimSpace(word))
		if !slices.Contains(all, name) {
			if near := Nearest(name, all); near != "" {
				return fmt.Errorf("there is no family %q; did you mean %s?", name, near)
			}
			return fmt.Errorf("there is no family %q: they are %s", name, strings.Join(all, ", "))
		}
		if !slices.Contains(*f, name) {
			*f = append(*f, name)
		}
	}
	return nil
}
