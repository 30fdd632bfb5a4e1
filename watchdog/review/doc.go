// Package review looks back at a session: replay of the core over the intake, episodes, report.
package review
