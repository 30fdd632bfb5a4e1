package cli

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"pinfold/config"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

// sealWithin is how long sealing the record may take.
const sealWithin = 5 * time.Second

// recordDrift puts a drift into the trail in dir, sealed by the key in file key, and
// gives the folder of the session that holds it.
func recordDrift(r *review.DriftRecord, site *config.Site, dir, key string, alignment []byte) (folder string, err error) {
	s, err := newestOf(dir, r.Vehicle)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(alignment)
	r.Session, r.Head, r.Sealed, r.Alignment = s.ID, s.Head, s.Sealed, hex.EncodeToString(sum[:])
	id := make([]byte, 8)
	if _, err := rand.Read(id); err != nil {
		return "", err
	}
	o := trail.Options{Dir: dir, Session: hex.EncodeToString(id), Guard: site.Guard, Site: site.Name, Version: Version,
		Vehicles: []string{r.Vehicle}, KeyFile: key, MaxBytes: site.Trail.MaxBytes}
	for _, f := range site.Files { // first, as in every session: what reads one looks for its site
		o.Files = append(o.Files, trail.File{Name: intake.FileName(f.Name), Data: f.Data})
	}
	o.Files = append(o.Files, trail.File{Name: review.MeasuredAlignment, Data: alignment})
	w, err := trail.Create(o)
	if err != nil {
		return "", fmt.Errorf("%w; a guard that runs holds its trail: end it, then measure again", err)
	}
	late := make(chan bool, 1)
	w.Durable(r.Vehicle, review.RecDrift, 0, r, func(failed bool) { late <- failed })
	failed := <-late // within trail.DurableWithin
	sealed, err := w.Close(sealWithin)
	if err == nil && failed {
		err = fmt.Errorf("trail %s: the record could not be made durable", dir)
	}
	return sealed.Folder, err
}

// newestOf is the newest session in dir that guarded a vehicle.
func newestOf(dir, vehicle string) (trail.Session, error) {
	if _, err := os.Stat(dir); err != nil {
		return trail.Session{}, fmt.Errorf("no trail: %w; give its folder by --trail", err)
	}
	list, err := trail.List(dir)
	if err != nil {
		return trail.Session{}, err
	}
	for _, s := range slices.Backward(list) {
		r, err := trail.Open(s.Folder)
		if err != nil {
			continue // verify says what is wrong with it
		}
		m := r.Meta()
		_ = r.Close() // only read from
		if slices.Contains(m.Vehicles, vehicle) && !review.IsDrift(m) {
			return s, nil
		}
	}
	return trail.Session{}, fmt.Errorf("no session of %s in %s; give the folder of its trail by --trail", vehicle, filepath.Clean(dir))
}
