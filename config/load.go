package config

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/BurntSushi/toml"

	"pinfold/zones"
)

// Load reads the site file at path and the zone files it names, relative to
// its directory. The error is a Problems; with it there is no Site.
func Load(path string) (*Site, error) { return load(path, func(*means) {}) }

func load(path string, also func(*means)) (*Site, error) {
	data, err := readBounded(path, MaxSiteFile)
	if err != nil {
		return nil, Problems{{File: path, What: "cannot be read: " + reason(err), Next: "give the path of a site file that exists and may be read"}}
	}
	dir := filepath.Dir(path)
	read := func(name string) ([]byte, error) { return readBounded(below(dir, name), zones.MaxGeoJSON) }
	m := means{read: read, try: func(name string) error { return tryFile(below(dir, name)) },
		secret: func(name string) error { return trySecret(below(dir, name)) }}
	also(&m)
	s, err := parse(path, data, m)
	if err != nil {
		return nil, err
	}
	for _, p := range []*string{&s.Broker.PasswordFile, &s.Broker.CA, &s.Broker.Cert, &s.Broker.Key, &s.Console.TokenFile, &s.Console.Cert, &s.Console.Key} {
		if *p != "" {
			*p = below(dir, *p)
		}
	}
	for i := range s.Vehicles {
		v := &s.Vehicles[i]
		for _, p := range []*string{&v.AlignFile, &v.Signing.KeyFile, &v.Signing.RequestFile, &v.Signing.PoseFile} {
			if *p != "" {
				*p = below(dir, *p)
			}
		}
	}
	state, _, _ := strings.Cut(os.Getenv("STATE_DIRECTORY"), ":")
	if state == "" {
		state = dir // and never the working directory, which differs from start to start
	}
	s.Trail.Dir, s.Trail.KeyFile = below(state, s.Trail.Dir), below(state, s.Trail.KeyFile)
	return s, nil
}

// below is path as seen from dir.
func below(dir, path string) string {
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(dir, path)
}

// readBounded reads a file of at most most bytes; one byte more is read of a
// longer one, so that its length tells.
func readBounded(path string, most int64) ([]byte, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("it is not a file")
	}
	if info.Size() > most {
		return nil, fmt.Errorf("it has %d bytes, more than %d", info.Size(), most)
	}
	return os.ReadFile(path)
}

// tryFile sees whether a file can be read, without reading it.
func tryFile(path string) error {
	switch info, err := os.Stat(path); { // first: to open a pipe waits for who writes it
	case err != nil:
		return err
	case !info.Mode().IsRegular():
		return errors.New("it is not a file")
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return f.Close()
}

// reason is err in plain words, without the path, which stands elsewhere.
func reason(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "there is no such file"
	case errors.Is(err, fs.ErrPermission):
		return "it may not be read"
	}
	return err.Error()
}

// means is what a Parse may use.
type means struct {
	read func(string) ([]byte, error)
	try  func(string) error // says why a file cannot be read
	// secret says why a file that can be read is open to others; nil: not looked at
	secret func(string) error
	quick  bool // leaves out what a pen has room for, which costs most of the time: for tests of the rest

	survey func(zoneFile string) // not nil: LoadSurvey, told of every zone file
}

// loader is one Parse.
type loader struct {
	reader
	means
	name     string // of the site
	files    []File
	cautions Problems
	rooms    []measured
	blind    bool // some zones, or whose they are, are unknown
}

// caution notes what is allowed but should be known.
func (l *loader) caution(at *place, key, value, what, next string) {
	l.cautions = append(l.cautions, Problem{File: l.file, Line: at.line, Key: key, Value: value, What: what, Next: next})
}

// Parse is Load on data: read gives the zone files, by the name the site file
// uses. Nothing is taken from elsewhere: relative paths stay as written, and
// whether the password and certificates can be read is not looked at, so that
// the files of a trail give the same Site on any machine.
func Parse(path string, data []byte, read func(name string) ([]byte, error)) (*Site, error) {
	return parse(path, data, means{read: read, try: func(string) error { return nil }})
}

func parse(path string, data []byte, m means) (*Site, error) {
	l := &loader{reader: reader{file: path, bad: map[*place]bool{}}, means: m}
	l.files = []File{{Name: filepath.Base(path), Data: append([]byte(nil), data...)}}
	root := l.decode(data)
	if root == nil {
		return nil, l.probs.err()
	}
	s := l.site(root)
	if len(l.probs) > 0 {
		return nil, l.probs.sorted(l.files, path).err()
	}
	s.Cautions = l.cautions.sorted(l.files, path)
	return s, nil
}

// wide says whether data is UTF-16: by its byte order mark, or because every
// other byte of its beginning is zero, as in a text of Latin letters.
func wide(data []byte) bool {
	switch {
	case len(data) < 4 || len(data)%2 != 0:
		return false
	case data[0] == 0xff && data[1] == 0xfe, data[0] == 0xfe && data[1] == 0xff:
		return true
	}
	return data[0] == 0 && data[1] != 0 && data[2] == 0 && data[3] != 0 ||
		data[0] != 0 && data[1] == 0 && data[2] != 0 && data[3] == 0
}

// decode parses the TOML; nil where that fails, which hides what else is wrong.
func (l *loader) decode(data []byte) *table {
	if len(data) > MaxSiteFile {
		l.probs = Problems{{File: l.file, What: fmt.Sprintf("has %d bytes, more than %d", len(data), MaxSiteFile), Next: "move large zones into a GeoJSON file and name it in zones"}}
		return nil
	}
	if wide(data) {
		l.probs = Problems{{File: l.file, What: "is written in UTF-16, which TOML does not allow", Next: "save it as UTF-8: in the editor's \"save as\", or with iconv -f UTF-16 -t UTF-8"}}
		return nil
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	at, deep := scanPlaces(text)
	if deep {
		l.probs = Problems{{File: l.file, What: fmt.Sprintf("is nested deeper than %d levels", maxDepth), Next: "a site file needs no more than six"}}
		return nil
	}
	values := map[string]any{}
	if _, err := toml.Decode(text, &values); err != nil {
		p := Problem{File: l.file, What: "is not valid TOML: " + strings.TrimPrefix(err.Error(), "toml: "), Next: "mend this line first; what is wrong after it shows then"}
		var pe toml.ParseError
		if errors.As(err, &pe) {
			p.Line, p.What = pe.Position.Line, "is not valid TOML: "+strings.TrimSuffix(pe.Message, ".")
			p.Key = pe.LastKey
		}
		l.probs = Problems{p}
		return nil
	}
	return &table{r: &l.reader, m: values, at: at, given: true}
}

// site reads and checks everything.
func (l *loader) site(root *table) *Site {
	keys := readSite(root)
	s := &Site{Path: l.file, Name: keys.name, LocalRules: keys.localRules, Guard: keys.guard, Fellows: keys.fellows}
	l.name = keys.name
	s.Broker = l.readBroker(root)
	s.Metrics = l.readMetrics(root)
	s.Trail = readTrail(root)
	s.Console = l.readConsole(root)
	before := len(l.probs)
	shapes := l.readZones(root)
	if l.survey != nil {
		l.probs = l.probs[:before]
		names, _ := root.texts("zones")
		for _, f := range names {
			l.survey(f)
		}
	}
	drafts := l.readVehicles(root)
	apart := readApart(root)
	root.done()
	l.keepApart(&apart, drafts)
	s.Files, s.Hash = l.files, hashFiles(l.files)
	if l.survey != nil {
		l.surveyed(s, drafts, shapes)
		return s
	}
	l.checkOwners(shapes, drafts)
	sound := l.checkShapes(shapes)
	for _, d := range drafts {
		l.finish(s, &keys, d, shapes, sound)
	}
	l.siteCautions(&keys, s, shapes)
	return s
}

// hashFiles is the SHA-256 of all files: for each its name's length, name,
// data's length and data, lengths as 8 bytes big-endian, so that no two lists
// of files give the same bytes.
func hashFiles(files []File) string {
	h := sha256.New()
	for _, f := range files {
		for _, part := range [][]byte{[]byte(f.Name), f.Data} {
			var n [8]byte
			binary.BigEndian.PutUint64(n[:], uint64(len(part)))
			h.Write(n[:])
			h.Write(part)
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}
