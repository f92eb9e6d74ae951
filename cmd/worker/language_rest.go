//go:build !windows && !darwin

package main

// systemLanguage: the environment is all there is.
func systemLanguage() string { return "" }
