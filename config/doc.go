// Package config reads site.toml into an immutable, valid Site, strictly: every mistake at once, each with file, line, value and next step.
package config
