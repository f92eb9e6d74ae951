// Package detmath has the elementary functions that geometry needs, computed from additions, multiplications,
// divisions and square roots alone, so that they give the same bits on every processor and at every build setting.
//
// Go's math package uses assembly or fused multiply-adds for some of them on some processors. Here every product that
// is added to something is converted explicitly, which by the language's specification rounds it and forbids fusing.
// Error bounds are stated in units of the last place (ulp) and held by tests against 240-bit arithmetic.
package detmath
