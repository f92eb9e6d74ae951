package main

// language is the person's, as the environment says it, in the order of POSIX.1-2017, XBD 8.2; where it says nothing, as the
// system's own settings do.
func language(env func(string) string) string {
	for _, name := range []string{"LC_ALL", "LC_MESSAGES", "LANG"} {
		if v := env(name); v != "" {
			return v
		}
	}
	return systemLanguage()
}
