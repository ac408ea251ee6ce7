//go:build cgo && (windows || darwin)

package main

import "os"

// ownStdout returns the standard output for the protocol.
func ownStdout() (*os.File, error) { return os.Stdout, nil }
