// Package detmath has the elementary functions that geometry needs, computed from additions, multiplications and
// square roots alone, so that they give the same bits on every processor and at every build setting.
package detmath
