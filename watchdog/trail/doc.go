// Package trail keeps the session's evidence on disk: the events as a hash
// chain, the intake as it arrived, the seal at close, and their verification.
//
// What may enter: record encoding, files, hashing, compression, signing. What
// may not: judging what the records mean. It imports nothing of this module.
package trail
