package rehearse

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Break says which declaration does not hold. The zero Break is none.
type Break struct {
	Name     string
	Word     string        // what ParseBreak reads it by, with its size
	Key      string        // what declares it in the site file, below [vehicle.stopping]
	Braking  float64       // share of the declared braking that is missing
	Reaction time.Duration // later than declared
	Down     time.Duration // the link to the vehicle is later than the reaction leaves it time for
	Transit  time.Duration // every pose takes this much longer, which nobody can see
	Drift    float64       // share of the way travelled that the position is off, beyond what is declared
	Gain     float64       // m/s², beyond what is declared
	Speed    float64       // m/s, error of the velocity beyond what is declared
}

// Way is how far a vehicle may have come since its tracker was tied to the room,
// m, where a Break has drift: a run begins with the drift of the way behind it.
const Way = 20.0

// Breaks are the declarations broken one at a time.
func Breaks() []Break {
	var all []Break
	for _, k := range breakKinds() {
		all = append(all, k.of(k.usual))
	}
	return all
}

// breakKind is a declaration that may not hold, by how much.
type breakKind struct {
	word, key, unit string
	usual, most     float64 // in unit
	name            string  // with the size for %s
	set             func(b *Break, x float64)
}

func milli(x float64) time.Duration { return time.Duration(x * float64(time.Millisecond)) }

func breakKinds() []breakKind {
	return []breakKind{
		{"braking", "deceleration", "%", 20, 95, "brakes %s %% weaker", func(b *Break, x float64) { b.Braking = x / 100 }},
		{"reaction", "reaction", "ms", 50, 2000, "reaction %s ms longer", func(b *Break, x float64) { b.Reaction = milli(x).Round(Tick) }},
		{"drift", "position_error", "%", 1, 50, "drift of %s %%", func(b *Break, x float64) { b.Drift = x / 100 }},
		{"link", "reaction", "ms", 40, 2000, "link %s ms later", func(b *Break, x float64) { b.Down = milli(x) }},
		{"pose", "reaction", "ms", 40, 2000, "every pose %s ms later", func(b *Break, x float64) { b.Transit = milli(x) }},
		{"gain", "acceleration", "m/s2", 1, 20, "gains %s m/s² more", func(b *Break, x float64) { b.Gain = x }},
		{"velocity", "velocity_error", "m/s", 0.2, 10, "velocity %s m/s further off", func(b *Break, x float64) { b.Speed = x }},
	}
}

func (k *breakKind) of(size float64) Break {
	s := strconv.FormatFloat(size, 'g', -1, 64)
	b := Break{Name: fmt.Sprintf(k.name, s), Word: k.word + "=" + s + k.unit, Key: k.key}
	k.set(&b, size)
	return b
}

// ParseBreak reads what is to be broken, like braking=20% or reaction=50ms.
func ParseBreak(text string) (Break, error) {
	word, size, _ := strings.Cut(text, "=")
	var known []string
	for _, k := range breakKinds() {
		usual := k.of(k.usual)
		known = append(known, usual.Word)
		if k.word != word {
			continue
		}
		x, err := strconv.ParseFloat(strings.TrimSuffix(size, k.unit), 64)
		if err != nil || !strings.HasSuffix(size, k.unit) || !(x > 0) || math.IsInf(x, 0) || x > k.most {
			return Break{}, fmt.Errorf("%q: give %s a size above 0%s and to %g%s, like %s", text, word, k.unit, k.most, k.unit, usual.Word)
		}
		return k.of(x), nil
	}
	return Break{}, fmt.Errorf("%q is nothing that can be broken; give one of %s, in any size", text, strings.Join(known, ", "))
}
