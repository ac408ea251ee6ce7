// Package alsa keeps the ALSA library, where there is one, from writing to the terminal.
package alsa
