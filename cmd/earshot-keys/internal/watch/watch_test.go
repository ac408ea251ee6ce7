package watch

import (
	"bufio"
	"bytes"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"earshot/assistant/hand"

	"github.com/stretchr/testify/require"
)

// TestKeysymsAgainstX compares the table with X's own header.
func TestKeysymsAgainstX(t *testing.T) {
	const header = "/usr/include/X11/keysymdef.h"
	f, err := os.Open(header)
	if err != nil {
		t.Skipf("%v: it comes with the X headers (x11proto-dev)", err)
	}
	defer f.Close()
	values := map[string]uint16{}
	def := regexp.MustCompile(`^#define XK_(\w+)\s+0x([0-9a-fA-F]{4})\b`)
	for sc := bufio.NewScanner(f); sc.Scan(); {
		if m := def.FindStringSubmatch(sc.Text()); m != nil {
			v, err := strconv.ParseUint(m[2], 16, 16)
			require.NoError(t, err)
			values[m[1]] = uint16(v)
		}
	}
	names := map[string]string{ // X's name → ours
		"space": "space", "apostrophe": "quote", "comma": "comma", "minus": "minus", "period": "period", "slash": "slash",
		"semicolon": "semicolon",
		"equal":     "equals", "bracketleft": "left_bracket", "backslash": "backslash", "bracketright": "right_bracket", "grave": "grave",
		"BackSpace": "backspace", "Tab": "tab", "ISO_Left_Tab": "tab", "Return": "enter", "Pause": "pause", "Scroll_Lock": "scroll_lock",
		"Escape": "escape",
		"Home":   "home", "Left": "left", "Up": "up", "Right": "right", "Down": "down", "Prior": "page_up", "Next": "page_down",
		"End":    "end",
		"Print":  "print",
		"Insert": "insert", "Num_Lock": "num_lock", "Delete": "delete",
		"KP_Insert": "kp0", "KP_End": "kp1", "KP_Down": "kp2", "KP_Next": "kp3", "KP_Left": "kp4", "KP_Begin": "kp5", "KP_Right": "kp6",
		"KP_Home": "kp7", "KP_Up": "kp8", "KP_Prior": "kp9",
		"KP_Multiply": "kp_multiply", "KP_Add": "kp_add", "KP_Subtract": "kp_subtract", "KP_Decimal": "kp_decimal",
		"KP_Delete": "kp_decimal", "KP_Separator": "kp_decimal",
		"KP_Divide": "kp_divide", "KP_Enter": "kp_enter",
		"Shift_L": "left_shift", "Shift_R": "right_shift", "Control_L": "left_ctrl", "Control_R": "right_ctrl", "Caps_Lock": "caps_lock",
		"Alt_L": "left_alt", "Alt_R": "right_alt", "ISO_Level3_Shift": "right_alt",
	}
	for i := range 12 {
		names["F"+strconv.Itoa(i+1)] = "F" + strconv.Itoa(i+1)
	}
	for i := range 10 {
		names[strconv.Itoa(i)], names["KP_"+strconv.Itoa(i)] = strconv.Itoa(i), "kp"+strconv.Itoa(i)
	}
	for c := 'a'; c <= 'z'; c++ {
		names[string(c)], names[strings.ToUpper(string(c))] = string(c), string(c)
	}
	want := map[uint16]string{}
	for x, ours := range names {
		v, ok := values[x]
		require.True(t, ok, "X has no %s", x)
		want[v] = ours
	}
	require.Equal(t, want, keysyms)
}

func TestEveryKeyCanBeHeard(t *testing.T) {
	for _, table := range []map[uint16]string{keysyms, scanCodes} {
		found := map[string]bool{}
		for _, name := range table {
			found[name] = true
			_, err := hand.ParseKey(name)
			require.NoError(t, err)
		}
		for _, k := range hand.Keys() {
			require.True(t, found[k], "nothing maps to %s", k)
		}
		require.Len(t, found, len(hand.Keys()))
	}
}

func TestWatch(t *testing.T) {
	w := New([]string{"7", "F5", "kp7", "escape"}, true)
	require.Equal(t, "7", w.Press('7', 0x08))
	require.Empty(t, w.Press('7', 0x08), "held")
	require.Equal(t, "7", w.Release('/', 0x08), "it comes up under another keysym when shift went down meanwhile")
	require.Empty(t, w.Release('7', 0x08), "it was not down")
	require.Empty(t, w.Press('8', 0x09), "not bound")
	require.Equal(t, "F5", w.Press(0xffc2, 0x3f))
	require.Equal(t, "kp7", w.Press(0xff95, 0x47|keypadUnlocked))
	require.Equal(t, "kp7", w.Release(0xffb7, 0x47), "the number lock went on meanwhile")
	require.Equal(t, "7", w.Press('&', 0x08), "a sign without a name of its own is known by its place")
	require.Equal(t, "escape", w.Press(0xff1b, 0), "no place, but a keysym")
	require.Empty(t, w.Press(0xff1b, 0))
	require.Equal(t, "escape", w.Release(0xff1b, 0))
	require.Empty(t, w.Press(0, 0))

	elsewhere := New([]string{"F5"}, false)
	require.Equal(t, "F5", elsewhere.Press(0x74, 0x3f), "other systems have raw codes of their own")
}

func TestParseArgs(t *testing.T) {
	var out bytes.Buffer
	keys, err := ParseArgs([]string{"f5", "KP0"}, &out)
	require.NoError(t, err)
	require.Equal(t, []string{"F5", "kp0"}, keys)
	_, err = ParseArgs([]string{"F5", "spce", "button3", "F13"}, &out)
	require.EqualError(t, err, "unknown key \"spce\": did you mean space?\nbutton3 is a button of the wheel, not a key of the "+
		"keyboard\nunknown key \"F13\": did you mean F1 or F3 or F10 or F11 or F12?")
	_, err = ParseArgs(nil, &out)
	require.ErrorContains(t, err, "no keys to watch")
	require.Empty(t, out.String())
	_, err = ParseArgs([]string{"--list"}, &out)
	require.ErrorIs(t, err, ErrAsked)
	require.Equal(t, strings.Join(hand.Keys(), "\n")+"\n", out.String())
}
