package assembly

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/rules"
)

// Changes are noticed, each once; what cannot be read is told once and changes nothing.
func TestRulesAreReadAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		files, trouble := []rules.Source{{Name: "a.yaml", Data: []byte("1")}}, error(nil)
		read := func() ([]rules.Source, error) { return files, trouble }
		changed := make(chan []rules.Source, 10)
		put := func(files []rules.Source) error { changed <- files; return nil }
		var told []string
		ctx, stop := context.WithCancel(t.Context())
		go watchRules(ctx, time.Second, read, put, func(err error) { told = append(told, fmt.Sprint("trouble: ", err)) }, func(s string) { told = append(told, s) })
		pass := func() {
			time.Sleep(3 * time.Second)
			synctest.Wait()
		}
		pass()
		require.Empty(t, changed)

		files = []rules.Source{{Name: "a.yaml", Data: []byte("2")}}
		pass()
		require.Len(t, changed, 1)
		require.Equal(t, "2", string((<-changed)[0].Data))

		trouble = errors.New("the disk is away")
		pass()
		require.Empty(t, changed)
		trouble = nil
		files = append([]rules.Source{}, files...)
		files = append(files, rules.Source{Name: "b.yaml", Data: []byte("3")})
		pass()
		require.Len(t, <-changed, 2)

		stop()
		synctest.Wait()
		require.Equal(t, []string{"rules: read again", "trouble: the disk is away", "trouble: <nil>", "rules: read again"}, told)
	})
}

// A folder of rules may hold something that is far too long: an error that names it, and nothing of it is kept.
func TestRulesFilesAreBounded(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	write := func(name string, size int) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), bytes.Repeat([]byte("#"), size), 0o600))
	}
	write("a.yaml", mostRules)
	_, err := ruleFiles([]string{dir})
	require.NoError(t, err)
	_, err = ruleFiles([]string{filepath.Join(dir, "a.yaml")})
	require.NoError(t, err)
	write("b.yaml", mostRules+1)
	_, err = ruleFiles([]string{dir})
	require.ErrorContains(t, err, dir+": b.yaml has more than 1024 KiB")
	write("b.yaml", mostRules)
	write("c.yaml", mostRules)
	_, err = ruleFiles([]string{dir})
	require.ErrorContains(t, err, "c.yaml is one file too many")
}
