//go:build ignore

// Report runs go test with the arguments it is given and prints what go test prints: the output of what fails, and a
// line for each package. At the end it says how many tests passed, failed and were skipped, and why these were.
package main

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
)

type event struct{ Action, Package, ImportPath, Test, Output string }

// place is where a reason was given, and what differs from test to test in it.
var place = regexp.MustCompile(`^\s*\S+\.go:\d+: |/\S*`)

func main() {
	cmd := exec.Command(cmp.Or(os.Getenv("GO"), "go"), append([]string{"test", "-json"}, os.Args[1:]...)...)
	cmd.Stderr = os.Stderr
	out, err := cmd.StdoutPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	said := map[[2]string][]string{} // the lines of each test; those of a package are under the test ""
	count := map[string]int{}        // tests that pass, fail and skip, and tests that fail in each package
	reasons := map[string]int{}
	lines := bufio.NewReader(out)
	for {
		line, err := lines.ReadBytes('\n')
		if len(line) > 0 {
			add(line, said, count, reasons)
		}
		if err != nil {
			break
		}
	}
	err = cmd.Wait()
	fmt.Printf("%d passed, %d failed, %d skipped\n", count["pass"], count["fail"], count["skip"])
	byNumber := func(a, b string) int { return cmp.Or(reasons[b]-reasons[a], strings.Compare(a, b)) }
	for _, why := range slices.SortedFunc(maps.Keys(reasons), byNumber) {
		fmt.Printf("skipped %d: %s\n", reasons[why], why)
	}
	if err != nil {
		os.Exit(1)
	}
}

// add counts an event of go test, and prints what is to be seen of it.
func add(line []byte, said map[[2]string][]string, count, reasons map[string]int) {
	var e event
	if json.Unmarshal(line, &e) != nil {
		fmt.Printf("%s\n", bytes.TrimRight(line, "\n")) // not of a test
		return
	}
	key := [2]string{e.Package, e.Test}
	switch {
	case e.Action == "build-output":
		fmt.Print(e.Output)
	case e.Action == "output" && e.Test == "":
		if !strings.HasPrefix(e.Output, "PASS") && !strings.Contains(e.Output, "[no test files]") {
			fmt.Print(e.Output) // ok, FAIL, panics, and what the package printed outside of its tests
		}
	case e.Action == "output":
		said[key] = append(said[key], e.Output)
	case e.Test == "":
		if e.Action == "fail" { // what was under way when the package ended
			if count[e.Package] == 0 {
				count["fail"]++ // it was not even built, or ended outside of its tests
			}
			for k, lines := range said {
				if k[0] == e.Package {
					fmt.Print(strings.Join(lines, ""))
				}
			}
		}
	case e.Action == "pass" || e.Action == "fail" || e.Action == "skip":
		count[e.Action]++
		if e.Action == "fail" {
			count[e.Package]++
			fmt.Print(strings.Join(said[key], ""))
		}
		if e.Action == "skip" {
			reasons[reason(said[key])]++
		}
		delete(said, key)
	}
}

// reason is the last thing that a skipped test said.
func reason(lines []string) string {
	why := "no reason given"
	for _, l := range lines {
		if l = strings.TrimSpace(l); l != "" && !strings.HasPrefix(l, "===") && !strings.HasPrefix(l, "---") {
			why = place.ReplaceAllString(l, "")
		}
	}
	return why
}
