package main

import (
	"os/exec"
	"strings"
)

// systemLanguage is the language of the person's macOS settings: a program that was not started from a shell has no LANG.
func systemLanguage() string {
	out, err := exec.Command("/usr/bin/defaults", "read", "-g", "AppleLocale").Output()
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(out))
}
