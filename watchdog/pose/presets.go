package pose

import "fmt"

// presetNames lists the words of the config.
const presetNames = "pinfold, pose-stamped, odometry, xr"

// Preset is where a common message shape keeps its values, and the axes it
// usually comes in.
//
//   - pinfold: DefaultFields, z-up.
//   - pose-stamped and odometry: the JSON form of the robotics middleware's
//     public stamped-pose and odometry messages, REP 103 axes, stamp as whole
//     seconds and nanoseconds under header/stamp. Odometry's velocity is along
//     the body's own axes. Their definitions from memory.
//   - xr: time in ns, position{x,y,z}, orientation{x,y,z,w} and
//     linearVelocity{x,y,z} as OpenXR names them, y-up.
func Preset(name string) (Fields, Axes, error) {
	switch name {
	case "pinfold":
		return DefaultFields(), ZUp, nil
	case "pose-stamped":
		return stampedFields("/pose"), ZUp, nil
	case "odometry":
		f := stampedFields("/pose/pose")
		f.VX, f.VY, f.VZ = vectorFields("/twist/twist/linear")
		f.BodyVelocity = true
		return f, ZUp, nil
	case "xr":
		f := Fields{Stamp: "/time", StampUnit: Nanoseconds}
		f.placeFields("")
		f.VX, f.VY, f.VZ = vectorFields("/linearVelocity")
		return f, YUp, nil
	}
	return Fields{}, 0, fmt.Errorf("pose preset %q: not one of %s", name, presetNames)
}

func stampedFields(root string) Fields {
	f := Fields{Stamp: "/header/stamp/sec", StampNanos: "/header/stamp/nanosec"}
	f.placeFields(root)
	return f
}

func (f *Fields) placeFields(root string) {
	f.X, f.Y, f.Z = vectorFields(root + "/position")
	f.QX, f.QY, f.QZ = vectorFields(root + "/orientation")
	f.QW = root + "/orientation/w"
}

func vectorFields(root string) (x, y, z string) { return root + "/x", root + "/y", root + "/z" }
