package trail

import (
	"bytes"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
)

// tamper is one kind of change to a session's files.
type tamper struct {
	name   string
	head   bool // found only by whoever noted the head
	change func(rng *rand.Rand, files map[string][]byte) (file string, data []byte)
}

func tampers() []tamper {
	anyFile := func(rng *rand.Rand, files map[string][]byte) string {
		return slices.Sorted(maps.Keys(files))[rng.IntN(len(files))]
	}
	return []tamper{
		{"byte changed", false, func(rng *rand.Rand, files map[string][]byte) (string, []byte) {
			name := anyFile(rng, files)
			data := bytes.Clone(files[name])
			data[rng.IntN(len(data))] ^= byte(1 + rng.IntN(255))
			return name, data
		}},
		{"line removed", false, editLines(func(rng *rand.Rand, l [][]byte) [][]byte {
			i := rng.IntN(len(l) - 1) // without the last: that is a tail cut
			return slices.Delete(l, i, i+1)
		})},
		{"lines swapped", false, editLines(func(rng *rand.Rand, l [][]byte) [][]byte {
			i, j := rng.IntN(len(l)), rng.IntN(len(l))
			l[i], l[j] = l[j], l[i]
			return l
		})},
		{"line repeated", false, editLines(func(rng *rand.Rand, l [][]byte) [][]byte {
			return slices.Insert(l, rng.IntN(len(l)+1), l[rng.IntN(len(l))])
		})},
		{"bytes taken out", true, func(rng *rand.Rand, files map[string][]byte) (string, []byte) {
			name := anyFile(rng, files)
			data := bytes.Clone(files[name])
			// Where the seal goes, and what is left of two lines happens to be one,
			// nothing but a head vouches for that last line.
			from := rng.IntN(len(data) - 1)
			return name, slices.Delete(data, from, from+1+rng.IntN(len(data)-1-from))
		}},
		{"bytes put in", false, func(rng *rand.Rand, files map[string][]byte) (string, []byte) {
			name := anyFile(rng, files)
			extra := make([]byte, 1+rng.IntN(40))
			for i := range extra {
				extra[i] = byte(rng.Uint32())
			}
			return name, slices.Insert(bytes.Clone(files[name]), rng.IntN(len(files[name])+1), extra...)
		}},
		{"truncated", true, func(rng *rand.Rand, files map[string][]byte) (string, []byte) {
			name := anyFile(rng, files)
			return name, files[name][:rng.IntN(len(files[name]))]
		}},
		{"tail of lines cut", true, editLines(func(rng *rand.Rand, l [][]byte) [][]byte { return l[:rng.IntN(len(l))] })},
	}
}

func editLines(edit func(*rand.Rand, [][]byte) [][]byte) func(*rand.Rand, map[string][]byte) (string, []byte) {
	return func(rng *rand.Rand, files map[string][]byte) (string, []byte) {
		all := bytes.SplitAfter(files[eventsName], []byte("\n"))
		return eventsName, bytes.Join(edit(rng, slices.Clone(all[:len(all)-1])), nil)
	}
}

// TestRandomTampersAreFound changes a sealed session at random, in turn in every
// way of tampers: 400 times, or as often as PINFOLD_TRAIL_TAMPERS says.
func TestRandomTampersAreFound(t *testing.T) {
	times := 400
	if n, err := strconv.Atoi(os.Getenv("PINFOLD_TRAIL_TAMPERS")); err == nil {
		times = n
	}
	s, files := specimen(t)
	rng, all, done := rand.New(rand.NewPCG(23, 29)), tampers(), map[string]int{}
	for i := 0; i < times; {
		k := &all[i%len(all)]
		name, data := k.change(rng, files)
		if bytes.Equal(data, files[name]) {
			continue // no change: a line swapped with itself
		}
		head := ""
		if k.head {
			head = s.Head
		}
		put(t, s.Folder, name, data)
		mustFind(t, s.Folder, head, fmt.Sprintf("change %d, %s of %s", i, k.name, name))
		put(t, s.Folder, name, files[name])
		done[k.name]++
		i++
	}
	mustVerify(t, s.Folder, s.Head)
	t.Logf("%d changes, all found: %v", times, done)
}
