package inspection

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// folderPattern names the folders of services in a scratch folder. Each holds a lock for as long as its service lives.
const folderPattern = "proofhouse-worker-"

// ownFolder makes the service's own folder in Scratch and removes those of services that died. release removes it.
func (s *Service) ownFolder() (release func(), err error) {
	dead, err := filepath.Glob(filepath.Join(s.Scratch, folderPattern+"*"))
	if err != nil {
		return nil, fmt.Errorf("look into the scratch folder: %w", err)
	}
	for _, dir := range dead {
		removeIfDead(dir)
	}
	if s.folder, err = os.MkdirTemp(s.Scratch, folderPattern); err != nil {
		return nil, fmt.Errorf("make a scratch folder: %w", err)
	}
	lock, err := lockFile(filepath.Join(s.folder, "lock"))
	if err != nil {
		return nil, errors.Join(fmt.Errorf("lock the scratch folder: %w", err), os.RemoveAll(s.folder))
	}
	return func() {
		if err := os.RemoveAll(s.folder); err != nil {
			s.Log.Warn("the scratch folder could not be removed", "folder", s.folder, "error", err.Error())
		}
		_ = lock.Close()
	}, nil
}

// removeIfDead removes a folder whose lock nobody holds. One that is just being made has no lock file yet and stays.
func removeIfDead(dir string) {
	if _, err := os.Stat(filepath.Join(dir, "lock")); err != nil {
		return
	}
	lock, err := lockFile(filepath.Join(dir, "lock"))
	if err != nil {
		return // it lives
	}
	_ = os.RemoveAll(dir) // another worker may be doing the same
	_ = lock.Close()
}
