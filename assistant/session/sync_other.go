//go:build !linux

package session

import "os"

func syncData(f *os.File) error { return f.Sync() }
