package drawing

import "image/color"

// A shade is how a paint looks on a light page and on a dark one.
type shade struct{ light, dark color.RGBA }

func hex(v uint32) color.RGBA {
	return color.RGBA{uint8(v >> 16), uint8(v >> 8), uint8(v), 255}
}

// shades of the paints. The five of the room to talk are taken from cividis, which rises evenly in lightness for those
// who do not see red or green as others do (Nuñez, Anderton, Renslow, PLoS ONE 13 (7), 2018; values from memory). They
// are the same on both pages; the grey casing sets the darkest and the lightest off. Signs differ by shape besides.
var shades = map[paint]shade{
	"room0":     {hex(0x00204C), hex(0x00204C)},
	"room1":     {hex(0x48526B), hex(0x48526B)},
	"room2":     {hex(0x8B8779), hex(0x8B8779)},
	"room3":     {hex(0xC3B369), hex(0xC3B369)},
	"room4":     {hex(0xFFE945), hex(0xFFE945)},
	paintCasing: {hex(0x55595E), hex(0xC9CDD2)},
	paintText:   {hex(0x16181B), hex(0xF2F3F5)},
	paintQuiet:  {hex(0x5B6068), hex(0xA9AFB8)},
	paintBrake:  {hex(0xC8321E), hex(0xFF7A5C)},
	paintTurn:   {hex(0x0072B2), hex(0x56B4E9)},
	paintMark:   {hex(0x8A2A6B), hex(0xE08BC4)},
	paintBack:   {hex(0xFFFFFF), hex(0x17191C)},
}

// of is the colour of a paint on a page.
func of(p paint, dark bool) color.RGBA {
	if dark {
		return shades[p].dark
	}
	return shades[p].light
}
