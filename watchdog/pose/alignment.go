package pose

import (
	"fmt"
	"math"
)

// Alignment carries the tracker frame (already z-up) into the site frame:
// site = Rotation·tracker + Translation. The zero value is the identity.
type Alignment struct {
	Rotation    Quat    // unit; keeps gravity where X and Y are zero; the zero Quat is the identity
	Translation Vec     // m, where the tracker's origin stands in the site
	Residual    float64 // m, >= 0: how far the alignment may be off; widens every judgement
	Tracker     string  // id of the tracker's session it was made in; empty binds to the first seen
	// Since is the earliest stamp of the sender, ns, that is known to be of the
	// session it was made in; zero where none is known. An earlier one is of
	// another session; and a session that told no id then tells none now.
	Since int64
	// Epoch is the wall clock, ns since 1970 UTC, at which the tracker's stamp
	// was zero; zero where it is not known. It is asked for where Tracker is
	// empty, and only where Config.WallZero is known too.
	Epoch int64
	// Unbound says that it was measured from a recording that tells neither an
	// id nor an epoch: nothing shows of which session it is. It holds for the
	// recording, and for no tracker that is live (Config.WallZero known).
	Unbound bool
}

// Unaligned is the alignment of a tracker that nobody has tied to the room yet:
// no stamp is late enough, so no pose is trusted by it.
func Unaligned() Alignment { return Alignment{Since: math.MaxInt64} }

// Void reports whether a is the alignment of Unaligned.
func (a Alignment) Void() bool { return a.Since == math.MaxInt64 }

// YawAlignment is the gravity-keeping alignment by yaw, rad, and translation
// and residual, m.
func YawAlignment(yaw float64, translation Vec, residual float64) Alignment {
	return Alignment{Rotation: FromYaw(yaw), Translation: translation, Residual: residual}
}

// Point carries a position, m, into the site frame.
func (a Alignment) Point(p Vec) Vec { return a.Rotation.Rotate(p).Add(a.Translation) }

// KeepsGravity reports whether the rotation is about the vertical alone, to
// within 1e-9 rad.
func (a Alignment) KeepsGravity() bool {
	return a.Rotation == Quat{} || a.Rotation.Tilt() < 1e-9
}

// checked is a with a normalised rotation, or says what is wrong with it.
func (a Alignment) checked() (Alignment, error) {
	q, err := rotationOrIdentity(a.Rotation)
	if err != nil {
		return a, fmt.Errorf("alignment: rotation: %w", err)
	}
	a.Rotation = q
	if !a.Translation.within(MaxCoordinate) {
		return a, fmt.Errorf("alignment: translation %v: not within ±%g m", a.Translation, float64(MaxCoordinate))
	}
	if !(a.Residual >= 0) || math.IsInf(a.Residual, 0) {
		return a, fmt.Errorf("alignment: residual %v m: not a finite length >= 0", a.Residual)
	}
	if a.Since < 0 {
		return a, fmt.Errorf("alignment: made in a session since the stamp %d ns: must not be below zero", a.Since)
	}
	return a, nil
}

// rotationOrIdentity normalises q, and reads the zero Quat, which is no
// rotation at all, as the identity.
func rotationOrIdentity(q Quat) (Quat, error) {
	if q == (Quat{}) {
		return Quat{W: 1}, nil
	}
	u, ok := q.Unit()
	if !ok {
		return q, fmt.Errorf("quaternion %v: norm %v is off 1 by more than 1 %%", q, q.Norm())
	}
	return u, nil
}
