package recording

import (
	"errors"
	"io"
	"math"
	"math/big"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pinfold/watchdog/pose"
)

// shared is where the published recordings lie; they are not of the project.
const shared = "../../../../shared/data"

func open(t *testing.T, name string) *Reader {
	t.Helper()
	path := filepath.Join(shared, name)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("needs the published recording %s: %v", name, err)
	}
	r, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { r.Close() })
	return r
}

func all(t *testing.T, r *Reader) (out []pose.Sample) {
	t.Helper()
	for {
		s, err := r.Next()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, s)
	}
}

// Row counts, gaps and stamps as the data's own answers files state them.
func TestPublishedRecordings(t *testing.T) {
	for _, c := range []struct {
		name        string
		rows        int
		first, last int64
	}{
		{"handheld_room.csv", 16541, 0, 141025000000},
		{"drone_spiral.csv", 2249, 0, 38482000000},
		{"pair_estimate.tum.txt", 788, 1305031102160407000, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := all(t, open(t, c.name))
			if len(s) != c.rows {
				t.Errorf("%d samples, want %d", len(s), c.rows)
			}
			if s[0].Stamp != c.first {
				t.Errorf("first stamp %d, want %d", s[0].Stamp, c.first)
			}
			// The answers give the duration to the millisecond.
			if got := s[len(s)-1].Stamp - s[0].Stamp; c.last != 0 && (got < c.last-1e6 || got > c.last+1e6) {
				t.Errorf("duration %d ns, want %d within 1 ms", got, c.last)
			}
		})
	}
}

// TUM order is x y z w, CSV is by header; both mean the same quaternion.
// First row of the published pair_estimate recording.
func TestColumnsOfBothFormats(t *testing.T) {
	const tum = "# a comment\n\n1305031102.160407 1.344379 0.627206 1.661754 0.658249 0.611043 -0.294444 -0.326553\n"
	const csv = "\xef\xbb\xbf# made by hand\r\n qw, z,y,x,qx,qy,qz,t_ns\r\n" +
		"-0.326553,1.661754,0.627206,1.344379,0.658249,0.611043,-0.294444,1305031102160407000\r\n"
	var got []pose.Sample
	for _, text := range []string{tum, csv} {
		r, err := NewReader(strings.NewReader(text), "t")
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, all(t, r)...)
	}
	if len(got) != 2 || got[0] != got[1] {
		t.Fatalf("formats differ: %+v", got)
	}
	want := pose.Vec{X: 1.344379, Y: 0.627206, Z: 1.661754}
	if got[0].Position != want || got[0].Stamp != 1305031102160407000 {
		t.Errorf("got %+v", got[0])
	}
	if q := got[0].Orientation; q.W > -0.3265 || q.X < 0.6582 || q.Z > -0.2944 {
		t.Errorf("quaternion out of order: %+v", q)
	}
}

func TestOptionalColumns(t *testing.T) {
	const text = "t_ns,x,y,z,qw,qx,qy,qz,confidence,vx,vy,vz\n5,1,2,3,1,0,0,0,0.25,4,5,-6e-1\n"
	r, err := NewReader(strings.NewReader(text), "t")
	if err != nil {
		t.Fatal(err)
	}
	s := all(t, r)[0]
	if !s.HasVelocity || s.Velocity != (pose.Vec{X: 4, Y: 5, Z: -0.6}) || !s.HasConfidence || s.Confidence != 0.25 || s.HasSeq {
		t.Errorf("got %+v", s)
	}
}

// Decimal seconds against math/big: cut off below the nanosecond, never
// rounded, at magnitudes where a float64 no longer holds nanoseconds.
func TestStampsAreExact(t *testing.T) {
	for _, text := range []string{
		"0", "0.000000001", "1305031102.160407", "1305031102.160407066", "1305031102.1604070669",
		"9223372036.854775807", "1.305031102160407066e+09", "12.5e-3", "1520530308.189679351",
	} {
		r, err := NewReader(strings.NewReader(text+"\t0 0 0 0 0 0 1"), "t")
		if err != nil {
			t.Fatal(err)
		}
		s, err := r.Next()
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		exact, _ := new(big.Rat).SetString(text)
		exact.Mul(exact, big.NewRat(1e9, 1))
		want := new(big.Int).Quo(exact.Num(), exact.Denom())
		if want.Int64() != s.Stamp {
			t.Errorf("%s: %d ns, want %v", text, s.Stamp, want)
		}
	}
}

func TestMistakesNamePlaceAndValue(t *testing.T) {
	const head = "t_ns,x,y,z,qw,qx,qy,qz\n"
	long := strings.Repeat("1", MaxLine+1)
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "f:1: no sample in it"},
		{"comments only", "# a\n#b\n", "f:2: no sample in it"},
		{"no header", "0,1,2,3,1,0,0,0\n", "f:1: \"0\" where the header was due"},
		{"unknown column", "t_ns,x,y,z,qw,qx,qy,qz,up\n", `f:1: column "up" is unknown`},
		{"wrong case", "T_ns,x,y,z,qw,qx,qy,qz\n", `column "T_ns" is unknown`},
		{"twice", "t_ns,x,x,y,z,qw,qx,qy,qz\n", `column "x" stands twice`},
		{"missing", "t_ns,x,y,z,qw,qx,qy\n", `no column "qz"`},
		{"part velocity", "t_ns,x,y,z,qw,qx,qy,qz,vx\n", `no column "vy"`},
		{"short row", head + "0,1,2,3,1,0,0\n", "f:2: 7 fields where 8 are due"},
		{"long row", head + "0,1,2,3,1,0,0,0,9\n", "f:2: 9 fields where 8 are due"},
		{"empty field", head + "0,,2,3,1,0,0,0\n", `f:2: x "" is not a finite number`},
		{"nan", head + "0,nan,2,3,1,0,0,0\n", `x "nan" is not a finite`},
		{"inf", head + "0,1,-Inf,3,1,0,0,0\n", `y "-Inf" is not a finite`},
		{"1e309", head + "\n# c\n0,1,2,1e309,1,0,0,0\n", `f:4: z "1e309" is not a finite`},
		{"hex", head + "0,0x1p-2,2,3,1,0,0,0\n", `x "0x1p-2" is not a finite`},
		{"underscore", head + "0,1_0,2,3,1,0,0,0\n", `x "1_0"`},
		{"not unit", head + "0,1,2,3,1,0.2,0,0\n", "norm 1.0198"},
		{"zero quaternion", head + "0,1,2,3,0,0,0,0\n", "norm 0,"},
		{"far", head + "0,2e6,2,3,1,0,0,0\n", "x 2e+06 is beyond"},
		{"fraction of ns", head + "0.5,1,2,3,1,0,0,0\n", `t_ns "0.5" is not a whole number`},
		{"before zero", head + "-1,1,2,3,1,0,0,0\n", `t_ns "-1"`},
		{"beyond int64", head + "9223372036854775808,1,2,3,1,0,0,0\n", "t_ns"},
		{"confidence", "t_ns,x,y,z,qw,qx,qy,qz,confidence\n0,1,2,3,1,0,0,0,50\n", "confidence 50 is not within"},
		{"speed", "t_ns,x,y,z,qw,qx,qy,qz,vx,vy,vz\n0,1,2,3,1,0,0,0,5e4,0,0\n", "vx 50000 is beyond"},
		{"tum short", "0 1 2 3 0 0 0\n", "f:1: 7 fields where 8 are due"},
		{"tum long", "0 1 2 3 0 0 0 1 1\n", "9 fields where 8 are due"},
		{"tum stamp", "# c\n-1 1 2 3 0 0 0 1\n", `f:2: stamp "-1" is not a number of seconds`},
		{"tum NaN", "1 1 NaN 3 0 0 0 1\n", `y "NaN"`},
		{"line too long", head + long, "f:2: line longer than 4096 bytes"},
		{"comment too long", "#" + long, "f:1: comment longer than 4096"},
		{"binary", "\x00\x01\x02", "1 fields where 8 are due"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := NewReader(strings.NewReader(c.text), "f")
			for err == nil {
				_, err = r.Next()
			}
			if err == io.EOF || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, want %q in it", err, c.want)
			}
			if !strings.HasPrefix(err.Error(), "f:") {
				t.Errorf("no place in %v", err)
			}
			if r != nil {
				if _, again := r.Next(); again != err {
					t.Errorf("a second Next gives %v, not the error again", again)
				}
			}
		})
	}
}

func TestLongestLineAndLastLineWithoutEnd(t *testing.T) {
	pad := strings.Repeat(" ", MaxLine-len("0 1 2 3 0 0 0 1\n"))
	text := "0 1 2 3 0 0 0 " + pad + "1\n" + "1 1 2 3 0 0 0 1"
	r, err := NewReader(strings.NewReader(text), "f")
	if err != nil {
		t.Fatal(err)
	}
	if n := len(all(t, r)); n != 2 {
		t.Errorf("%d samples, want 2", n)
	}
}

// A file far beyond any buffer is read to its end.
func TestStreams(t *testing.T) {
	const rows = 30000
	line := "5,1,2,3,1,0,0,0\n"
	body := io.MultiReader(strings.NewReader("t_ns,x,y,z,qw,qx,qy,qz\n"), io.LimitReader(&repeat{text: line}, int64(rows*len(line))))
	r, err := NewReader(body, "f")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for ; ; n++ {
		if _, err = r.Next(); err != nil {
			break
		}
	}
	if err != io.EOF || n != rows {
		t.Errorf("%d rows, %v; want %d and the end", n, err, rows)
	}
}

type repeat struct {
	text string
	at   int
}

func (r *repeat) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = r.text[r.at]
		r.at = (r.at + 1) % len(r.text)
	}
	return len(p), nil
}

func TestFailingDiskIsNotTheEnd(t *testing.T) {
	broken := errors.New("disk gone")
	in := io.MultiReader(strings.NewReader("t_ns,x,y,z,qw,qx,qy,qz\n0,1,2,3,1,0,0,0\n"), &failing{broken})
	r, err := NewReader(in, "f")
	for n := 0; err == nil; n++ {
		if n > 1 {
			t.Fatal("no error after the disk failed")
		}
		_, err = r.Next()
	}
	if !errors.Is(err, broken) {
		t.Errorf("got %v, want the disk's error", err)
	}
	if _, err := NewReader(&failing{broken}, "f"); !errors.Is(err, broken) {
		t.Errorf("at the first byte: got %v, want the disk's error", err)
	}
	if _, err := Open(filepath.Join(t.TempDir(), "none.csv")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
}

type failing struct{ err error }

func (f *failing) Read([]byte) (int, error) { return 0, f.err }

// A number need not be as JSON has it. The second opinion is strconv, bit for bit.
func TestNumbersOfEveryForm(t *testing.T) {
	for _, text := range []string{"0", "-0", "1", "-1.5", "+1", ".5", "-.5", "1.", "01", "-007.250", "1e3", "1E-3", "+.5e+1",
		"0.1", "123456789.123456789", "0.30000000000000004", "9007199254740993", "1e-400", "1.7976931348623157e308",
		"12345678901234567890123", "0.00000000000000000000000000001", "5e-324"} {
		want, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		if got, ok := number([]byte(text)); !ok || math.Float64bits(got) != math.Float64bits(want) {
			t.Errorf("%s: %v, %v, want %v", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "-", "+", ".", "e1", "1e", "1e400", "-1e400", "NaN", "Inf", "0x1p3", "1_000", "1,0", "1 ", "--1", "1.2.3"} {
		if got, ok := number([]byte(text)); ok {
			t.Errorf("%q is taken for %v", text, got)
		}
	}
}
