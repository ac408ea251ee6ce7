package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The page of the channels is what the catalogue says. EARSHOT_UPDATE writes it anew.
func TestChannelsPageIsTheCatalogue(t *testing.T) {
	path := filepath.Join(projectRoot(t), "configs", "channels.md")
	page := ran(t, "channels", "--markdown")
	if os.Getenv("EARSHOT_UPDATE") != "" {
		require.NoError(t, os.WriteFile(path, []byte(page), 0o644))
	}
	have, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, page, string(have), "make golden writes it")
}
