package config

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
)

// DefaultAlignTolerance is the largest residual, m, an alignment file may have
// where the site file does not say (common practice, no source): more than a
// careful tie of a room of 20 m leaves, less than a metre that nobody meant.
const DefaultAlignTolerance = 0.5

// alignFile reads what pinfold align wrote. Where it cannot be used the site is
// sound, for align itself needs one, but no tracker is tied to it: no stamp is
// late enough, and no permit is given until an alignment is taken.
func (l *loader) alignFile(s *table, name string, c *watchdog.Config) pose.Alignment {
	void := func(what string) pose.Alignment {
		l.caution(s.at, s.name("file"), show(name), what+"; until then "+c.Vehicle+" gets no permit", "run pinfold align")
		return pose.Unaligned()
	}
	data, err := l.read(name)
	if err != nil {
		return void("cannot be read: " + reason(err))
	}
	if len(data) == 0 { // as good as absent, and as absent in what is kept of the site
		return void("is empty")
	}
	l.keepFile(name, data)
	f, err := pose.ReadAlignment(data)
	if err != nil {
		return void("is no alignment: " + err.Error())
	}
	if f.Vehicle != c.Vehicle {
		s.report("file", fmt.Sprintf("is the alignment of %q", f.Vehicle), "give every vehicle a file of its own")
		return pose.Unaligned()
	}
	if f.Site != "" && f.Site != l.name { // a site's folder may have been copied for another room
		return void(fmt.Sprintf("is the alignment of another site, %q", f.Site))
	}
	if r := f.Alignment.Residual; r > c.Tie.Most {
		return void(fmt.Sprintf("may be off by %s m, more than the tolerance of %s m", num(r), num(c.Tie.Most)))
	}
	if f.Alignment.Unbound {
		l.caution(s.at, s.name("file"), show(name), "was made from a recording that does not tell of which session of the tracker it is; it serves that recording, and "+c.Vehicle+" gets no permit by it", "run pinfold align with the tracker itself")
	}
	sum := sha256.Sum256(data)
	c.Tie.Hash, c.Tie.Made = hex.EncodeToString(sum[:]), f.Made.UnixMilli()
	return f.Alignment
}

// keepFile adds a file to those of the site, once.
func (l *loader) keepFile(name string, data []byte) {
	for _, o := range l.files[1:] {
		if o.Name == name {
			return
		}
	}
	l.files = append(l.files, File{Name: name, Data: append([]byte(nil), data...)})
}
