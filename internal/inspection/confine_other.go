//go:build !linux

package inspection

func confine(_, _ []string) []string {
	return []string{"files and network: not confined on this system"}
}
