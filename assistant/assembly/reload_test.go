package assembly

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"earshot/rules"
)

// Changes are noticed, each once; what cannot be read is told once and changes nothing.
func TestRulesAreReadAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		a := func(text string) rules.Source { return rules.Source{Name: "a.yaml", Data: []byte(text)} }
		var turn sync.Mutex
		files, trouble := []rules.Source{a("1")}, error(nil)
		read := func() ([]rules.Source, error) {
			turn.Lock()
			defer turn.Unlock()
			return files, trouble
		}
		lie := func(err error, list ...rules.Source) {
			turn.Lock()
			defer turn.Unlock()
			files, trouble = list, err
		}
		changed := make(chan []rules.Source, 10)
		put := func(files []rules.Source) error { changed <- files; return nil }
		var told []string
		ctx, stop := context.WithCancel(t.Context())
		go watchRules(ctx, time.Second, read, put, func(err error) { told = append(told, fmt.Sprint("trouble: ", err)) },
			func(s string) { told = append(told, s) })
		pass := func() {
			time.Sleep(3 * time.Second)
			synctest.Wait()
		}
		pass()
		require.Empty(t, changed)

		lie(nil, a("2"))
		pass()
		require.Len(t, changed, 1)
		require.Equal(t, "2", string((<-changed)[0].Data))

		lie(errors.New("the disk is away"))
		pass()
		require.Empty(t, changed)
		lie(nil, a("2"), rules.Source{Name: "b.yaml", Data: []byte("3")})
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
