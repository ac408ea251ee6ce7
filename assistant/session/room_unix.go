//go:build linux || darwin

package session

import "golang.org/x/sys/unix"

// freeBytes is the room that an ordinary user has on the disk of that folder.
func freeBytes(dir string) (int64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return int64(s.Bavail) * int64(s.Bsize), nil
}
