// Package cli has the commands.
package cli
