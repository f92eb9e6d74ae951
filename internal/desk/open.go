package desk

import (
	"fmt"
	"os/exec"
	"runtime"
)

// Show opens a file with whatever the system opens it with, and does not wait.
func Show(path string) error {
	name, args := opener(runtime.GOOS, path)
	cmd := exec.Command(name, args...)
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("open %s: %w", path, err)
	}
	go func() { _ = cmd.Wait() }()
	return nil
}

// opener is the system's own command for opening a file.
func opener(system, path string) (name string, args []string) {
	switch system {
	case "windows":
		return "rundll32", []string{"url.dll,FileProtocolHandler", path} // takes any script in a path; cmd's own does not
	case "darwin":
		return "open", []string{path}
	}
	return "xdg-open", []string{path}
}
