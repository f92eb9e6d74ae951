package web

import (
	"strings"

	"proofhouse/internal/web/words"
)

// What browsers and systems write into User-Agent (RFC 9110, section 10.1.5), the more special before what they claim to be
// like: nearly all name several (common practice, from memory).
var (
	agentBrowsers = [][2]string{{"Edg", "Edge"}, {"OPR/", "Opera"}, {"SamsungBrowser/", "Samsung Internet"}, {"Firefox/", "Firefox"}, {"FxiOS/", "Firefox"}, {"HeadlessChrome/", "Chromium"}, {"Chromium/", "Chromium"}, {"Chrome/", "Chrome"}, {"CriOS/", "Chrome"}, {"Safari/", "Safari"}}
	agentSystems  = [][2]string{{"Android", "Android"}, {"iPhone", "iOS"}, {"iPad", "iPadOS"}, {"Windows", "Windows"}, {"CrOS", "ChromeOS"}, {"Mac OS X", "macOS"}, {"Linux", "Linux"}}
)

// agentWords says in short with what somebody logged in; whole is what the browser said itself, and stays where nothing is known again.
func agentWords(whole string) words.Phrase {
	first := func(list [][2]string) string {
		for _, known := range list {
			if strings.Contains(whole, known[0]) {
				return known[1]
			}
		}
		return ""
	}
	browser, system := first(agentBrowsers), first(agentSystems)
	switch {
	case whole == "":
		return words.P("doors.unknown")
	case browser == "" || system == "":
		return words.Text(whole)
	}
	return words.P("doors.agent", browser, system)
}
