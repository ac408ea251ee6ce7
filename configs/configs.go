// Package configs holds the defaults that Earshot ships: feeds, cars, courses,
// rules and voices. They are embedded in the program; a user's own file takes their place.
//
// The package only carries bytes: it reads, checks and decides nothing.
package configs

import "embed"

// Files is the folder as it is in the repository.
//
//go:embed feeds cars courses rules voices
var Files embed.FS
