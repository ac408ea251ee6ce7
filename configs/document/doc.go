// Package document reads a YAML configuration file: every file of feeds, cars, courses and rules goes
// through it, so the same mistake is told in the same words everywhere.
//
// All mistakes of a file are collected, each with its place and the way out:
//
//	car.yaml:3:5: fuel has no "tnak"
//		hint: did you mean tank?
//
// What holds for every file: it is UTF-8 text of at most 4 MiB with one document. A key stands once in its mapping, and
// an unknown key is a mistake. An anchor (&name) and its alias (*name) may stand wherever a value may; an alias
// within what it names is a mistake, and so is a file that is nested too deeply or grows too large by its aliases. The
// merge key << is not read: it is an unknown key.
//
// The package imports nothing of Earshot and knows neither units nor channels.
package document
