package session

import "golang.org/x/sys/windows"

// freeBytes is the room that an ordinary user has on the disk of that folder.
func freeBytes(dir string) (int64, error) {
	path, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, err
	}
	var free uint64
	err = windows.GetDiskFreeSpaceEx(path, &free, nil, nil)
	return int64(free), err
}
