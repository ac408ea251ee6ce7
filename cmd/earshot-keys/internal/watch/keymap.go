package watch

import "strings"

// X keysyms by key name, as in keysymdef.h. Letters and digits are their characters.
var keysyms = map[uint16]string{
	0x0020: "space", 0x0027: "quote", 0x002c: "comma", 0x002d: "minus", 0x002e: "period", 0x002f: "slash",
	0x003b: "semicolon", 0x003d: "equals", 0x005b: "left_bracket", 0x005c: "backslash", 0x005d: "right_bracket",
	0x0060: "grave",

	0xff08: "backspace", 0xff09: "tab", 0xfe20: "tab", 0xff0d: "enter", 0xff13: "pause", 0xff14: "scroll_lock",
	0xff1b: "escape",
	0xff50: "home", 0xff51: "left", 0xff52: "up", 0xff53: "right", 0xff54: "down", 0xff55: "page_up",
	0xff56: "page_down", 0xff57: "end",
	0xff61: "print", 0xff63: "insert", 0xff7f: "num_lock", 0xffff: "delete",

	// The keypad, locked and not.
	0xffb0: "kp0", 0xffb1: "kp1", 0xffb2: "kp2", 0xffb3: "kp3", 0xffb4: "kp4", 0xffb5: "kp5", 0xffb6: "kp6",
	0xffb7: "kp7", 0xffb8: "kp8", 0xffb9: "kp9",
	0xff9e: "kp0", 0xff9c: "kp1", 0xff99: "kp2", 0xff9b: "kp3", 0xff96: "kp4", 0xff9d: "kp5", 0xff98: "kp6",
	0xff95: "kp7", 0xff97: "kp8", 0xff9a: "kp9",
	0xffaa: "kp_multiply", 0xffab: "kp_add", 0xffad: "kp_subtract", 0xffae: "kp_decimal", 0xff9f: "kp_decimal",
	0xffac: "kp_decimal",
	0xffaf: "kp_divide", 0xff8d: "kp_enter",

	0xffbe: "F1", 0xffbf: "F2", 0xffc0: "F3", 0xffc1: "F4", 0xffc2: "F5", 0xffc3: "F6",
	0xffc4: "F7", 0xffc5: "F8", 0xffc6: "F9", 0xffc7: "F10", 0xffc8: "F11", 0xffc9: "F12",

	0xffe1: "left_shift", 0xffe2: "right_shift", 0xffe3: "left_ctrl", 0xffe4: "right_ctrl", 0xffe5: "caps_lock",
	0xffe9: "left_alt", 0xffea: "right_alt", 0xfe03: "right_alt",
}

// scanCodes by key name: what the hook library calls the same key on every system, by its place on the
// board. The lower seven bits are those of the first PC keyboard.
var scanCodes = map[uint16]string{
	0x01: "escape", 0x0c: "minus", 0x0d: "equals", 0x0e: "backspace", 0x0f: "tab", 0x1a: "left_bracket",
	0x1b: "right_bracket", 0x1c: "enter",
	0x1d: "left_ctrl", 0x27: "semicolon", 0x28: "quote", 0x29: "grave", 0x2a: "left_shift", 0x2b: "backslash",
	0x33: "comma", 0x34: "period", 0x35: "slash",
	0x36: "right_shift", 0x37: "kp_multiply", 0x38: "left_alt", 0x39: "space", 0x3a: "caps_lock",
	0x3b: "F1", 0x3c: "F2", 0x3d: "F3", 0x3e: "F4", 0x3f: "F5", 0x40: "F6", 0x41: "F7", 0x42: "F8", 0x43: "F9",
	0x44: "F10", 0x57: "F11", 0x58: "F12",
	0x45: "num_lock", 0x46: "scroll_lock", 0x47: "kp7", 0x48: "kp8", 0x49: "kp9", 0x4a: "kp_subtract", 0x4b: "kp4",
	0x4c: "kp5", 0x4d: "kp6",
	0x4e: "kp_add", 0x4f: "kp1", 0x50: "kp2", 0x51: "kp3", 0x52: "kp0", 0x53: "kp_decimal",
	0x0e1c: "kp_enter", 0x0e1d: "right_ctrl", 0x0e35: "kp_divide", 0x0e37: "print", 0x0e38: "right_alt",
	0x0e45: "pause",
	0x0e47: "home", 0x0e49: "page_up", 0x0e4f: "end", 0x0e51: "page_down", 0x0e52: "insert", 0x0e53: "delete",
	0xe048: "up", 0xe04b: "left", 0xe04d: "right", 0xe050: "down",
}

func init() {
	for c := uint16('a'); c <= 'z'; c++ {
		keysyms[c], keysyms[c-'a'+'A'] = string(rune(c)), string(rune(c))
	}
	for c := uint16('0'); c <= '9'; c++ {
		keysyms[c] = string(rune(c))
	}
	for _, row := range []struct {
		first uint16
		keys  string
	}{{0x02, "1234567890"}, {0x10, "qwertyuiop"}, {0x1e, "asdfghjkl"}, {0x2c, "zxcvbnm"}} {
		for i, k := range strings.Split(row.keys, "") {
			scanCodes[row.first+uint16(i)] = k
		}
	}
}

// keypadUnlocked marks the keys of the keypad while the number lock is off.
const keypadUnlocked = 0xee00

// place is the scan code of a key whatever the number lock: the same for its press and its release.
func place(scan uint16) uint16 {
	if scan&0xff00 == keypadUnlocked {
		return scan & 0x00ff
	}
	return scan
}

// keyName names a key. Under X the keysym goes first, since it is what the cap of the key says whatever the layout;
// where it is a shifted sign or of another alphabet, and on other systems, the place on the board decides.
func keyName(keysym, scan uint16, x bool) string {
	if x {
		if name, ok := keysyms[keysym]; ok {
			return name
		}
	}
	return scanCodes[place(scan)]
}

// A Watch knows which keys are bound and which are down.
type Watch struct {
	x     bool
	bound map[string]bool
	down  map[uint16]string // by place: with another key held a key may come up under another keysym
}

// New returns a Watch for keys named as package hand spells them. x says that raw codes are X keysyms.
func New(keys []string, x bool) *Watch {
	w := &Watch{x: x, bound: map[string]bool{}, down: map[uint16]string{}}
	for _, k := range keys {
		w.bound[k] = true
	}
	return w
}

// Press names the bound key that went down, or nothing: for another key, and while a key is held and repeats itself.
func (w *Watch) Press(keysym, scan uint16) string {
	name := keyName(keysym, scan, w.x)
	at := w.where(name, scan)
	if !w.bound[name] || w.down[at] != "" {
		return ""
	}
	w.down[at] = name
	return name
}

// Release names the bound key that came up, or nothing.
func (w *Watch) Release(keysym, scan uint16) string {
	at := w.where(keyName(keysym, scan, w.x), scan)
	name := w.down[at]
	delete(w.down, at)
	return name
}

// where is the place of a key; one of unknown place is told by its keysym's name.
func (w *Watch) where(name string, scan uint16) uint16 {
	if scan != 0 || name == "" {
		return place(scan)
	}
	for sym, n := range keysyms {
		if n == name {
			scan = max(scan, sym) // the highest, so that it is always the same one
		}
	}
	return scan
}
