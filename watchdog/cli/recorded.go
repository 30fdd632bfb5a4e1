package cli

import (
	"fmt"
	"os"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
	"pinfold/watchdog/review"
)

// recorded is a recording, of whatever format.
type recorded interface {
	Next() (pose.Sample, error)
	Close() error
}

// openRecorded opens a file, or the intake of a session's folder.
func openRecorded(path, vehicle string, fields pose.Fields) (recorded, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("%w; name a recording (CSV with a header, or TUM text) or a session's folder", err)
	}
	if info.IsDir() {
		return review.OpenPoses(path, vehicle, fields)
	}
	if err := readable(path); err != nil {
		return nil, fmt.Errorf("%w; name a recording (CSV with a header, or TUM text) or a session's folder", err)
	}
	return recording.Open(path)
}

// readable says why a file cannot be read. A pipe is refused before it is
// opened: opening waits for whoever writes to it, for ever where nobody does.
func readable(path string) error {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return err
	case info.IsDir():
		return fmt.Errorf("%s is a folder, not a file", path)
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is a pipe or device, not a file; write its content to a file first", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return f.Close()
}

// errNoSample is a recording without any.
func errNoSample(path string) error {
	return fmt.Errorf("%s holds no sample: at most a header; record it again, or name another file", path)
}
