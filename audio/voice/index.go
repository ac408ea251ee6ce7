package voice

import (
	"bufio"
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// IndexName is the name of the index in the folder of a pack.
const IndexName = "index.tsv"

// ErrIndex is wrapped by every error about an index.
var ErrIndex = errors.New("invalid voice index")

// An IndexError says what is wrong in an index, and in which line (from 1; 0 for the
// whole file).
type IndexError struct {
	Line int
	Msg  string
}

func (e *IndexError) Error() string {
	if e.Line == 0 {
		return IndexName + ": " + e.Msg
	}
	return fmt.Sprintf("%s:%d: %s", IndexName, e.Line, e.Msg)
}

// Unwrap makes errors.Is(err, ErrIndex) true.
func (e *IndexError) Unwrap() error { return ErrIndex }

// An Index says where the units of a pack lie in its sound. As a file it is lines of
// fields between tabs, in UTF-8; a line that begins with # is a remark:
//
//	voice	clear       name for people
//	licence	…
//	rate	16000       samples a second
//	sound	units.flac  mono FLAC in the same folder
//	unit	front left	1200	7800	text in normal form, first sample, samples
type Index struct {
	Voice, Licence string
	Rate           int
	Sound          string
	Units          []Unit // in order of text
}

// A Unit is one recorded word or phrase.
type Unit struct {
	Text          string // in the form of Normal, without pauses
	Start, Length int    // samples
}

// longestUnit bounds a unit, in samples: nobody records a phrase of a minute.
const longestUnit = 60 * 48000

// ReadIndex reads an index. The error joins an *IndexError for every mistake.
func ReadIndex(r io.Reader) (*Index, error) {
	x := &Index{}
	var errs []error
	line := 0
	bad := func(format string, a ...any) {
		if len(errs) < 100 {
			errs = append(errs, &IndexError{Line: line, Msg: fmt.Sprintf(format, a...)})
		}
	}
	first, units := map[string]int{}, false
	sc := bufio.NewScanner(r)
	for sc.Scan() {
		line++
		t := strings.TrimSuffix(sc.Text(), "\r")
		if t == "" || strings.HasPrefix(t, "#") {
			continue
		}
		f := strings.Split(t, "\t")
		if want := map[string]int{"voice": 2, "licence": 2, "rate": 2, "sound": 2, "unit": 4}[f[0]]; want != len(f) {
			if want == 0 {
				bad("unknown kind of line %q; there are voice, licence, rate, sound and unit", f[0])
			} else {
				bad("a line %s has %d fields between tabs, not %d", f[0], len(f), want)
			}
			continue
		}
		if f[0] != "unit" {
			if l, twice := first["\t"+f[0]]; twice {
				bad("%s stands in line %d already", f[0], l)
				continue
			}
			first["\t"+f[0]] = line
		}
		switch f[0] {
		case "voice":
			x.Voice = f[1]
		case "licence":
			x.Licence = f[1]
		case "rate":
			n, err := strconv.Atoi(f[1])
			if err != nil || n < 8000 || n > 48000 {
				bad("rate %q; it is a whole number from 8000 to 48000", f[1])
				continue
			}
			x.Rate = n
		case "sound":
			if f[1] == "" || strings.ContainsAny(f[1], `/\`) || !strings.HasSuffix(f[1], ".flac") {
				bad("sound %q; it is the name of a .flac file in the same folder", f[1])
				continue
			}
			x.Sound = f[1]
		case "unit":
			units = true
			u := Unit{Text: f[1]}
			var err1, err2 error
			u.Start, err1 = strconv.Atoi(f[2])
			u.Length, err2 = strconv.Atoi(f[3])
			switch l, twice := first[u.Text]; {
			case u.Text != "A" && (Normal(u.Text) != u.Text || len(Fragments(u.Text)) != 1):
				bad("unit %q is not in normal form; write it as %q", u.Text, Normal(u.Text))
			case twice:
				bad("unit %q stands in line %d already", u.Text, l)
			case err1 != nil || u.Start < 0 || err2 != nil || u.Length < 1 || u.Length > longestUnit:
				bad("unit %q from sample %q, %q samples: both are whole numbers, the second from 1 to %d", u.Text, f[2], f[3],
					longestUnit)
			default:
				first[u.Text] = line
				x.Units = append(x.Units, u)
			}
		}
	}
	if err := sc.Err(); err != nil {
		line++
		bad("%v", err)
	}
	line = 0
	if x.Rate == 0 && first["\trate"] == 0 {
		bad("there is no line rate")
	}
	if x.Sound == "" && first["\tsound"] == 0 {
		bad("there is no line sound")
	}
	if !units {
		bad("there is no line unit")
	}
	if errs != nil {
		return nil, errors.Join(errs...)
	}
	x.sort()
	return x, nil
}

func (x *Index) sort() {
	slices.SortFunc(x.Units, func(a, b Unit) int { return cmp.Compare(a.Text, b.Text) })
}

// Encode writes the index in the form that ReadIndex reads.
func (x *Index) Encode() []byte {
	x.sort()
	var b bytes.Buffer
	b.WriteString("# made by audio/voice/makepack: see the README beside the packs\n")
	fmt.Fprintf(&b, "voice\t%s\nlicence\t%s\nrate\t%d\nsound\t%s\n", x.Voice, x.Licence, x.Rate, x.Sound)
	for _, u := range x.Units {
		fmt.Fprintf(&b, "unit\t%s\t%d\t%d\n", u.Text, u.Start, u.Length)
	}
	return b.Bytes()
}
