package acceptance

import "proofhouse/internal/acceptance/spec"

// checks is every check, in the order of a report. A check is added in its family's file alone.
func checks() []Check {
	var all []Check
	for _, family := range [][]Check{
		fileChecks(), nameChecks(), sceneChecks(), budgetChecks(), topologyChecks(), lodChecks(), collisionChecks(), uvChecks(), surfaceChecks(), mapChecks(), bakeChecks(), alphaChecks(),
	} {
		all = append(all, family...)
	}
	return append(all, revisionChecks()...) // last: they read what the others found
}

// Catalogue returns the descriptions of every check, in the order of a report.
func Catalogue() spec.Catalogue {
	var c spec.Catalogue
	for _, check := range checks() {
		c = append(c, check.Def)
	}
	return c
}
