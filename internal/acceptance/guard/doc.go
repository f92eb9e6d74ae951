// Package guard holds tests over the source and the compiled code of the acceptance packages: what must not appear in
// them so that one delivery gets the same evidence on every processor.
package guard
