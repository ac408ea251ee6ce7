package feedfile_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"testing"

	"earshot/assistant/channel"
	"earshot/assistant/feed"
	"earshot/assistant/feed/feedfile"
	"earshot/configs/document"
)

// A file that is accepted decodes, and one that is refused says where and why. The blocks of the manual are among the
// seeds.
func FuzzParse(f *testing.F) {
	shipped := os.DirFS("../../../configs/feeds")
	for _, dir := range []fs.FS{shipped, os.DirFS("../../../testdata/feeds")} {
		names, _ := fs.Glob(dir, "*.yaml")
		for _, name := range names {
			if data, err := fs.ReadFile(dir, name); err == nil {
				f.Add(data)
			}
		}
	}
	manual, err := fs.ReadFile(shipped, "README.md")
	if err != nil {
		f.Fatal(err)
	}
	for _, block := range strings.Split(string(manual), "```yaml\n")[1:] {
		text, _, _ := strings.Cut(block, "```")
		f.Add([]byte(text))
	}
	f.Add([]byte("a: &a [*a]"))
	f.Add([]byte("transport: {kind: udp, listen: 127.0.0.1:0}\ncodec: json\nchannels: &c {speed: {path: v, unit: km/h}}\n" +
		"derived: {heading: ((((1 deg)))) * -speed / speed}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		set := channel.NewSet()
		beside := func(name string) ([]byte, error) { return fs.ReadFile(shipped, name) }
		file, err := feedfile.ParseWith("x", data, set, beside)
		if err != nil {
			list := document.Errors(err)
			if len(list) == 0 || !errors.Is(err, document.ErrInvalid) {
				t.Fatalf("refused with %v", err)
			}
			lines := strings.Count(string(data), "\n") + strings.Count(string(data), "\r") + 2
			for _, e := range list {
				if e.Msg == "" || e.Line < 0 || e.File == "x" && e.Line > lines || e.Col < 0 {
					t.Fatalf("%#v", e)
				}
			}
			return
		}
		if _, err := feed.NewDecoder(file, set); err != nil && file.Parts == nil {
			t.Fatal(err)
		}
	})
}

// Every mistake of a feed file is told at once, with its place and the remedy.
func ExampleParse() {
	_, err := feedfile.Parse("car.yaml", []byte("transport: {kind: udp, listen: 127.0.0.1:47119}\ncodec: csv\n"+
		"channels:\n  sped: {column: v, unit: km/h}\n  throttle: {column: t}\n"), channel.NewSet())
	fmt.Println(err)
	// Output:
	// car.yaml:4:3: there is no channel "sped"
	// 	hint: did you mean speed?
	// car.yaml:5:3: the unit of throttle is missing
	// 	hint: a ratio is written in one of 1, %
}
