package debrief

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"earshot/assistant/channel"
)

// unknown is how a number is written that is not known.
const unknown = "–"

// minus is the typographic one, as wide as a plus.
const minus = "−"

var (
	wheelNames  = [4]string{"front left", "front right", "rear left", "rear right"}
	wheelShorts = [4]string{"FL", "FR", "RL", "RR"}
)

// fixed writes x with so many decimals. What rounds to zero has no sign.
func fixed(x Num, decimals int) string {
	if x.IsZero() {
		return unknown
	}
	s := strconv.FormatFloat(float64(x), 'f', decimals, 64)
	if digits, negative := strings.CutPrefix(s, "-"); negative {
		if strings.Trim(digits, "0.") == "" {
			return digits
		}
		return minus + digits
	}
	return s
}

// signed writes a difference with its sign.
func signed(x Num, decimals int) string {
	s := fixed(x, decimals)
	if s == unknown || strings.HasPrefix(s, minus) || strings.Trim(s, "0.") == "" {
		return s
	}
	return "+" + s
}

// lapTime writes seconds as 1:42.345, or 42.345 below a minute.
func lapTime(x Num) string {
	if x.IsZero() {
		return unknown
	}
	ms := int64(math.Round(math.Abs(float64(x)) * 1000))
	sign := ""
	if x < 0 && ms > 0 {
		sign = minus
	}
	if ms < 60000 {
		return fmt.Sprintf("%s%d.%03d", sign, ms/1000, ms%1000)
	}
	return fmt.Sprintf("%s%d:%02d.%03d", sign, ms/60000, ms/1000%60, ms%1000)
}

// clock writes seconds of the session as h:mm:ss.
func clock(x Num) string {
	if x.IsZero() {
		return unknown
	}
	s := int64(math.Floor(math.Abs(float64(x))))
	sign := ""
	if x < 0 {
		sign = minus
	}
	return fmt.Sprintf("%s%d:%02d:%02d", sign, s/3600, s/60%60, s%60)
}

func decimalsOf(u channel.Unit) int {
	switch u.Spelling {
	case "bar", "atm":
		return 2
	case "MPa":
		return 3
	case "psi", "kPa", "m/s":
		return 1
	}
	return 0
}

// bare is a quantity without its unit, for tables whose header has it.
func bare(u channel.Unit, x Num) string { return fixed(Num(u.Out(float64(x))), decimalsOf(u)) }

// quantity is a number with its unit.
func quantity(u channel.Unit, x Num) string {
	if x.IsZero() {
		return unknown
	}
	return bare(u, x) + "\u00a0" + u.Spelling
}

func volume(u channel.Unit, x Num) string { return amount(u, x, 1) }

// burn has two decimals: over a stint the second one is litres.
func burn(u channel.Unit, x Num) string { return amount(u, x, 2) }

func amount(u channel.Unit, x Num, decimals int) string {
	if x.IsZero() {
		return unknown
	}
	return fixed(Num(u.Out(float64(x))), decimals) + "\u00a0" + volumeName(u)
}

func volumeName(u channel.Unit) string {
	switch u.Spelling {
	case "gal_us":
		return "US gal"
	case "gal_imp":
		return "imp gal"
	}
	return u.Spelling
}

func degrees(x Num) string {
	if x.IsZero() {
		return unknown
	}
	return fixed(Num(math.Abs(float64(x))*180/math.Pi), 1) + "°"
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// numbers writes lap numbers, runs of them shortened: 3, 5–9, 12. A long list ends in an ellipsis.
func numbers(list []int) string {
	var parts []string
	for i := 0; i < len(list); {
		j := i
		for j+1 < len(list) && list[j+1] == list[j]+1 {
			j++
		}
		if j-i >= 2 {
			parts = append(parts, fmt.Sprintf("%d–%d", list[i], list[j]))
			i = j
		} else {
			parts = append(parts, strconv.Itoa(list[i]))
		}
		i++
	}
	if len(parts) > 12 {
		parts = append(parts[:12], "…")
	}
	return strings.Join(parts, ", ")
}

// list joins words: a, b and c.
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
