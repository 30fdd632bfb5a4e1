package intake

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"pinfold/watchdog"
	"pinfold/zones"
)

// otherFixed is the length of an EvOther payload before the name, bytes.
const otherFixed = 1 + 8 + 10*8

// Other is the payload of an EvOther entry: a byte that is 1 where the reach is
// known, the session instant of the judgement in nanoseconds, the sweep's ten
// numbers in the order of zones.Sweep (m), each of 8 bytes, big-endian, and the
// vehicle's name. Frozen: it stands in trails.
func Other(o *watchdog.OtherReach) []byte {
	b := make([]byte, 1, otherFixed+len(o.Name))
	if o.Known {
		b[0] = 1
	}
	b = binary.BigEndian.AppendUint64(b, uint64(o.At))
	for _, v := range sweepNumbers(&o.Sweep) {
		b = binary.BigEndian.AppendUint64(b, math.Float64bits(*v))
	}
	return append(b, o.Name...)
}

func sweepNumbers(w *zones.Sweep) [10]*float64 {
	return [...]*float64{&w.From.X, &w.From.Y, &w.From.Z, &w.To.X, &w.To.Y, &w.To.Z, &w.Radius, &w.Grow, &w.Below, &w.Above}
}

// readOther reads what Other gives.
func readOther(b []byte) (o watchdog.OtherReach, err error) {
	if len(b) <= otherFixed || b[0] > 1 {
		return o, fmt.Errorf("intake: an entry of another vehicle holds %d bytes and is not whole", len(b))
	}
	o.Known, o.At = b[0] == 1, time.Duration(binary.BigEndian.Uint64(b[1:]))
	for i, v := range sweepNumbers(&o.Sweep) {
		*v = math.Float64frombits(binary.BigEndian.Uint64(b[9+8*i:]))
	}
	o.Name = string(b[otherFixed:])
	return o, nil
}
