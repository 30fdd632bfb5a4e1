package trail

import (
	"os"
	"path/filepath"
)

// PartOf says whether path names, or would name, a file that a session's trail
// consists of: what another program is not to write. A link to the folder is
// followed.
func PartOf(path string) bool {
	dir, base := filepath.Dir(path), filepath.Base(path)
	if real, err := filepath.EvalSymlinks(dir); err == nil {
		dir = real
	}
	if abs, err := filepath.Abs(dir); err == nil {
		dir = abs
	}
	switch base {
	case eventsName, intakeName, tornName:
		return isSession(dir)
	}
	return filepath.Base(dir) == filesName && isSession(filepath.Dir(dir))
}

// isSession says whether a folder holds what a session does, whole or not.
func isSession(dir string) bool {
	for _, name := range []string{eventsName, intakeName} {
		if _, err := os.Lstat(filepath.Join(dir, name)); err == nil {
			return true
		}
	}
	return false
}
