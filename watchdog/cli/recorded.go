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
	return recording.Open(path)
}
