package config

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"unicode/utf8"
)

// FuzzParse gives the loader anything: it never panics, an error is always
// Problems and never comes with a Site, and a Site is one the core takes.
// Run: go test ./config -run "^$" -fuzz FuzzParse -fuzztime 10s -fuzzminimizetime 1x
func FuzzParse(f *testing.F) {
	for _, pattern := range []string{"testdata/*.toml", "testdata/bad/*.toml"} {
		files, _ := filepath.Glob(pattern)
		for _, name := range files {
			data, err := os.ReadFile(name)
			if err != nil {
				f.Fatal(err)
			}
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		read := func(name string) ([]byte, error) {
			if name == "yard.geojson" {
				return readTestdata(name)
			}
			return nil, os.ErrNotExist
		}
		// What a pen has room for takes most of the time: every eighth text.
		s, err := parse("site.toml", data, means{read: read, try: func(string) error { return nil }, quick: len(data)%8 != 0})
		if (s == nil) != (err != nil) {
			t.Fatalf("site %v with error %v", s, err)
		}
		if err != nil {
			checkProblems(t, err)
			return
		}
		if len(s.Vehicles) == 0 || len(s.rooms) != len(s.Vehicles) || len(s.Hash) != 64 {
			t.Fatalf("not complete: %+v", s)
		}
		for i := range s.Vehicles {
			guardOf(t, &s.Vehicles[i])
		}
		if err := Tighter(s, s); err != nil {
			t.Errorf("the same site is looser than itself: %v", err)
		}
	})
}

func checkProblems(t *testing.T, err error) {
	var ps Problems
	if !errors.As(err, &ps) || len(ps) == 0 || len(ps) > MaxProblems+1 {
		t.Fatalf("not Problems: %v", err)
	}
	for _, p := range ps {
		if p.File == "" || p.What == "" || p.Next == "" || p.Line < 0 || !utf8.ValidString(p.String()) {
			t.Errorf("incomplete problem: %q", p)
		}
	}
}

// TestLongTextsEnd gives the loader long texts of one thing over and over.
func TestLongTextsEnd(t *testing.T) {
	for _, fill := range []string{"a=1\n", "[", "a.", "[[zone]]\n", "[a]\n", "\"", "#", "x=[1,2]\n", "a={b="} {
		data := bytes.Repeat([]byte(fill), MaxSiteFile/8/len(fill))
		if s, err := Parse("site.toml", data, readTestdata); s != nil || err == nil {
			t.Errorf("%q repeated is a site", fill)
		}
	}
}
