package acceptance

// rootCause looks for one fault that explains many others: a wrong unit, a wrong axis. It returns the headline finding
// and the subject as it would be with that fault mended, or nil and the subject itself. s is not changed.
func rootCause(s *Subject) (headline *Finding, mended *Subject) { return nil, s }
