// Earshot-keys watches the keyboard for the assistant and tells it of the bound keys only.
//
//	earshot-keys F5 kp0 space
//
// It prints "ready", then "press KEY" and "release KEY" for the keys that were named, one line each, on its
// standard output; "error TEXT" where something is wrong. No other key is printed, kept or logged. It
// ends when its standard input does, or on SIGTERM or SIGINT.
//
// It is a process of its own because the library that hooks the keyboard takes the whole process down where
// there is no X display, or when that goes away.
package main
