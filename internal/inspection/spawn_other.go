//go:build !linux

package inspection

import "os/exec"

func separate(*exec.Cmd) {}

func killGroup(cmd *exec.Cmd) { _ = cmd.Process.Kill() }

func restrain(int, Limits, int64) error { return nil }

func privateBytes(int) int64 { return 0 }
