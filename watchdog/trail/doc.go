// Package trail keeps the session's evidence on disk: the events as a hash
// chain, the intake as it arrived, the seal at close, and their verification.
// FORMAT.md describes the files; verify.py proves them without this program.
//
// Two goroutines serve a Writer. The keeper forms lines and frames, answers
// durable records and watches health and space; the disk does one job at a time
// and alone ever waits for a file call. Callers only copy into bounded queues.
//
// What may enter: record encoding, files, hashing, compression, signing. What
// may not: judging what the records mean. It imports nothing of this module.
package trail
