package hand

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// maxButton is the highest button number; racing wheels have a few dozen.
const maxButton = 128

var keyNames = func() []string {
	var k []string
	for i := 1; i <= 12; i++ {
		k = append(k, fmt.Sprintf("F%d", i))
	}
	k = append(k, strings.Split("abcdefghijklmnopqrstuvwxyz0123456789", "")...)
	for i := range 10 {
		k = append(k, fmt.Sprintf("kp%d", i))
	}
	return append(k,
		"kp_add", "kp_subtract", "kp_multiply", "kp_divide", "kp_decimal", "kp_enter",
		"space", "enter", "tab", "escape", "backspace", "insert", "delete",
		"home", "end", "page_up", "page_down", "up", "down", "left", "right",
		"minus", "equals", "comma", "period", "slash", "backslash", "semicolon", "quote",
		"left_bracket", "right_bracket", "grave",
		"left_shift", "right_shift", "left_ctrl", "right_ctrl", "left_alt", "right_alt",
		"caps_lock", "num_lock", "scroll_lock", "pause", "print")
}()

// Keys lists the names of all keys of a keyboard. The names of a wheel's buttons are button1 to button128.
// A key has its name whatever else is held with it, and keys of the keypad whether or not it is locked.
func Keys() []string { return slices.Clone(keyNames) }

// IsButton tells whether a key name is that of a button of the wheel.
func IsButton(name string) bool {
	n, err := strconv.Atoi(strings.TrimPrefix(name, "button"))
	return err == nil && n >= 1 && n <= maxButton && name == fmt.Sprintf("button%d", n)
}

// ParseKey reads the name of a key or button, whatever its case, and returns it as Keys spells it. The error is a
// *BindingError.
func ParseKey(s string) (string, error) {
	if i := slices.IndexFunc(keyNames, func(k string) bool { return strings.EqualFold(k, s) }); i >= 0 {
		return keyNames[i], nil
	}
	low := strings.ToLower(s)
	if IsButton(low) {
		return low, nil
	}
	hint := didYouMean(s, keyNames)
	if strings.HasPrefix(low, "button") {
		hint = fmt.Sprintf("buttons are button1 to button%d", maxButton)
	}
	return "", &BindingError{Key: s, Msg: "unknown key " + quote(s), Hint: hint}
}
