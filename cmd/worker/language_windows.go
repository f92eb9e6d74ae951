package main

import "golang.org/x/sys/windows"

// systemLanguage is the first language of the person's Windows settings.
func systemLanguage() string {
	list, err := windows.GetUserPreferredUILanguages(windows.MUI_LANGUAGE_NAME)
	if err != nil || len(list) == 0 {
		return ""
	}
	return list[0]
}
