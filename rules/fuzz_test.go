package rules_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"earshot/configs/document"
	"earshot/rules"
)

// places checks that every refusal is our type with a place inside the input.
func places(t *testing.T, err error, src string) {
	t.Helper()
	errs := []error{err}
	if many, ok := err.(interface{ Unwrap() []error }); ok {
		errs = many.Unwrap()
	}
	lines := strings.Split(strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u0085", "\n", "\u2028", "\n", "\u2029", "\n").Replace(src), "\n")
	for _, e := range errs {
		re, ok := errors.AsType[*document.Error](e)
		if !ok || !errors.Is(e, document.ErrInvalid) {
			t.Fatalf("refused with %#v", e)
		}
		if re.Line < 1 || re.Line > len(lines) || re.Col < 1 || re.Col > len(lines[re.Line-1])+2 || re.Msg == "" {
			t.Fatalf("no place: %v", re)
		}
	}
}

func FuzzTemplate(f *testing.F) {
	for _, s := range []string{
		"{axle} brakes cold.", "Fuel, {-fuel_margin as tenths} laps short. Save {fuel_save in gal_us/lap as hundredths}.",
		"{flag as label}", "{", "}", "{}", "{{gear}}", "{gear as }", "{gear in }",
		"a. b! c? {gear as off}", "{5 K/s in K/min as whole}", "{\"}\"}", "{instances}", "ünïcode {gear} ßtart",
	} {
		f.Add(s)
	}
	voc := car()
	row := voc.row(f, map[string]float64{"gear": 2, "fuel_left": 3, "fuel_margin": -1e300, "flag": 77})
	f.Fuzz(func(t *testing.T, src string) {
		for _, shape := range []struct{ head, tail string }{
			{"rules: [{name: a, when: gear > 1, each: axle, say: ", "}]"},
			{"rules: [{name: a, when: gear > 1, each: wheel, say: x., merge: ", "}]"},
			{"answers: [{ask: a, say: ", "}]"},
		} {
			// A double-quoted scalar can hold any text; Go's quotes are close enough to YAML's.
			text := shape.head + quoted(src) + shape.tail
			set, err := rules.Compile([]rules.Source{{Name: "a.yaml", Data: []byte(text)}}, voc)
			if err != nil {
				places(t, err, text)
				continue
			}
			for _, tr := range set.NewMemory().Step(0, row, 0, nil) {
				if tr.Say != (tr.Text != "") {
					t.Fatalf("%+v", tr)
				}
				set.Merged(tr.Rule, 3, row)
			}
			set.Answer("a", row)
			set.Phrases()
		}
	})
}

func quoted(s string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", `\n`, "\r", `\r`, "\t", `\t`).Replace(s) + `"`
}

func FuzzFile(f *testing.F) {
	for _, folder := range []string{"stories", "mistakes"} {
		paths, err := filepath.Glob(filepath.Join("testdata", folder, "*.txtar"))
		if err != nil {
			f.Fatal(err)
		}
		for _, p := range paths {
			a, err := txtar.ParseFile(p)
			if err != nil {
				f.Fatal(err)
			}
			for _, file := range a.Files {
				if strings.HasSuffix(file.Name, ".yaml") {
					f.Add(file.Data)
				}
			}
		}
	}
	paths, err := filepath.Glob("../configs/rules/*.yaml")
	if err != nil {
		f.Fatal(err)
	}
	for _, p := range paths {
		b, err := os.ReadFile(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte("rules: &a [*a]"))
	f.Add([]byte("\r\r- ame:x \n")) // YAML ends lines at a lone carriage return too
	f.Add([]byte("rules: [&r {name: a, when: gear > 1, say: x.}, *r]"))
	f.Add([]byte("\xef\xbb\xbfrules:\r\n  - name: a\r\n    when: |-\r\n      gear >\r\n    say: \"a\\\n b\"\r\n"))
	voc := car()
	row := voc.row(f, map[string]float64{"gear": 2, "fuel_left": 3, "tyre_core_fl": 190})
	f.Fuzz(func(t *testing.T, b []byte) {
		set, err := rules.Compile([]rules.Source{{Name: "a.yaml", Data: b}}, voc)
		if err != nil {
			places(t, err, string(b))
			return
		}
		mem := set.NewMemory()
		for i := range 4 {
			mem.Step(float64(i), row, 0, nil)
		}
		for _, ask := range set.Asks() {
			set.Answer(ask, row)
		}
	})
}
