package wire

import (
	"encoding/json"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

func TestStampExamples(t *testing.T) {
	for ns, want := range map[int64]string{
		0: "0", 1: "0.000000001", -1: "-0.000000001", 999_999_999: "0.999999999", second: "1", -second: "-1",
		1_500_000_000: "1.5", 1_234_567_890_123_456_789: "1234567890.123456789",
		MaxStamp: "4611686018", -MaxStamp: "-4611686018",
	} {
		if got := string(AppendStamp(nil, ns)); got != want {
			t.Errorf("%d ns: %s, want %s", ns, got, want)
		}
	}
	for text, want := range map[string]int64{
		"1e9": 1e18, "1E+9": 1e18, "15e-1": 1_500_000_000, "0.0000000019": 1, "-0.0000000011": -2,
		"-0": 0, "0e999999999999": 0, "1e-999999999999": 0, "-1e-999999999999": -1, "0.10000000000000000000000000000000001": 100_000_000,
		"1234567890.1234567890000": 1_234_567_890_123_456_789,
	} {
		if got, ok := ParseStamp([]byte(text)); !ok || got != want {
			t.Errorf("%s s: %d ns %v, want %d", text, got, ok, want)
		}
	}
	for _, bad := range []string{"", "-", "+1", "01", "1.", ".5", "1e", "1e+", "0x1", "1 ", " 1", "NaN", "Inf", "1_0", "1e1.5",
		"4611686018.000000001", "-4611686018.000000001", "1e10", "1e308", "99999999999999999999999999"} {
		if got, ok := ParseStamp([]byte(bad)); ok {
			t.Errorf("%q: %d ns, want a refusal", bad, got)
		}
	}
}

// Every stamp passes both ways exactly.
func TestStampRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ns := rapid.Int64Range(-MaxStamp, MaxStamp).Draw(t, "ns")
		text := AppendStamp(nil, ns)
		if !json.Valid(text) {
			t.Fatalf("%s is no JSON number", text)
		}
		if back, ok := ParseStamp(text); !ok || back != ns {
			t.Fatalf("%d ns as %s comes back as %d %v", ns, text, back, ok)
		}
	})
}

// TestStampAgainstRationals holds ParseStamp against exact arithmetic of
// math/big, and its grammar against encoding/json.
func TestStampAgainstRationals(t *testing.T) {
	number := rapid.StringMatching(`-?[0-9]{1,22}(\.[0-9]{1,25})?([eE][+-]?[0-9]{1,2})?`)
	rapid.Check(t, func(t *rapid.T) { agree(t, number.Draw(t, "number")) })
}

func agree(t interface{ Fatalf(string, ...any) }, text string) {
	got, ok := ParseStamp([]byte(text))
	exact, isNumber := new(big.Rat).SetString(text)
	if !json.Valid([]byte(text)) || !isNumber {
		if ok {
			t.Fatalf("%q was read though it is no JSON number", text)
		}
		return
	}
	exact.Mul(exact, big.NewRat(second, 1))
	floor := new(big.Int).Div(exact.Num(), exact.Denom()) // Euclidean: towards the past, the denominator being positive
	if in := floor.CmpAbs(big.NewInt(MaxStamp)) <= 0; in != ok {
		t.Fatalf("%s s: read %v, in range %v", text, ok, in)
	}
	if ok && floor.Int64() != got {
		t.Fatalf("%s s: %d ns, want %s", text, got, floor)
	}
}
