package canon

import _ "embed"

// Source is this package's own code, for programs that name the code by which their evidence was made.
//
//go:embed canon.go
var Source string
