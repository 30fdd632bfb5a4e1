package config

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// Signing names the files of a vehicle's keys (package sign); relative paths are
// resolved by Load, and empty means that nothing of that kind is signed.
type Signing struct {
	KeyFile     string // permits, commands and acknowledgements: guards and the vehicle have it
	RequestFile string // requests and alignments: guards and operators have it
	PoseFile    string // poses: guards and the tracker have it
}

// readSigning reads [vehicle.signing].
func (l *loader) readSigning(vehicle *table, cbor bool) Signing {
	t := vehicle.sub("signing")
	s := Signing{KeyFile: l.secretFile(t, "key_file"), RequestFile: l.secretFile(t, "request_key_file"), PoseFile: l.secretFile(t, "pose_key_file")}
	if cbor && t.fine("pose_key_file") {
		t.report("pose_key_file", "goes with poses in JSON, and these are in CBOR, which carry no signature", "remove pose_key_file, or have the tracker send JSON")
	}
	keys := []string{"key_file", "request_key_file", "pose_key_file"}
	files := []string{s.KeyFile, s.RequestFile, s.PoseFile}
	for i, f := range files {
		for k := range i {
			if f != "" && files[k] != "" && filepath.Clean(f) == filepath.Clean(files[k]) {
				t.report(keys[i], "is the file of "+keys[k]+" too: whoever has it could sign as the other", "make a key for each, with pinfold key --new")
			}
		}
	}
	t.done()
	return s
}

// secretFile is tried for a file that nobody but its owner may open.
func (l *loader) secretFile(t *table, key string) string {
	name := l.tried(t, key)
	if t.fine(key) && l.secret != nil {
		if err := l.secret(name); err != nil {
			t.report(key, err.Error(), "chmod 600 it, and make a new one with pinfold key --new if anybody may have read it")
		}
	}
	return name
}

// trySecret says why a file is no place for a secret. What systemd hands to a
// service (LoadCredential=) is left to who reads it: its rights look wider.
func trySecret(path string) error {
	info, err := os.Stat(path)
	if err != nil {
		return errors.New("cannot be read: " + reason(err))
	}
	if dir := os.Getenv("CREDENTIALS_DIRECTORY"); dir != "" && filepath.Dir(path) == filepath.Clean(dir) {
		return nil
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return fmt.Errorf("may be opened by others than its owner (mode %04o)", mode)
	}
	return nil
}
