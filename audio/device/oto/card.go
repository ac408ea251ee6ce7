package oto

import (
	"path/filepath"
	"runtime"
)

// Card tells whether the system has a sound card; where that cannot be known cheaply it is taken to have one. The
// library can be started only once in a process, so it is not to be tried in vain.
func Card() bool {
	if runtime.GOOS != "linux" {
		return true
	}
	cards, _ := filepath.Glob("/dev/snd/pcm*p")
	return len(cards) > 0
}
