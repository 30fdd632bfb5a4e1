// Package recording reads recorded trajectories as tracker samples, and writes
// a sample as the pose message that a tracker would have sent.
//
// What may enter: file formats of trajectories, in and out. What may not:
// frames, trust, judgement: a sample leaves as the file has it, in the
// tracker's own frame and in file order, also where its stamp runs backwards.
//
// Two text formats are told apart by their content:
//
//   - CSV whose header names the columns, in any order: t_ns (whole
//     nanoseconds), x, y, z (m), qw, qx, qy, qz (body to world), and optionally
//     vx, vy, vz (m/s) and confidence (0 to 1). Lines that begin with # and
//     empty lines are passed over.
//   - TUM text, "stamp x y z qx qy qz qw" with the stamp in seconds, separated
//     by white space (TUM RGB-D benchmark, file formats).
//
// Numbers must be finite, quaternions within 1 % of unit length. Files are
// read line by line, whatever their size; a line has at most MaxLine bytes.
package recording
