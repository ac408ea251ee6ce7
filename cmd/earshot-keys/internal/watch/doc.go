// Package watch is what earshot-keys knows: the names of the keys, which of them are bound and which are down.
//
// It is apart from the program because everything that links the keyboard hook, its test binary too, ends
// before main where there is no display. The package is pure: it never touches the keyboard itself.
package watch
