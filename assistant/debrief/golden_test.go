package debrief

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestGolden(t *testing.T) {
	r := Build(read(t), fixtureContext())
	for name, write := range map[string]func(*bytes.Buffer) error{
		"session.txt":  func(b *bytes.Buffer) error { return WriteText(b, r) },
		"session.html": func(b *bytes.Buffer) error { return WriteHTML(b, r) },
		"session.json": func(b *bytes.Buffer) error {
			e := json.NewEncoder(b)
			e.SetIndent("", " ")
			return e.Encode(r)
		},
	} {
		t.Run(name, func(t *testing.T) {
			var b bytes.Buffer
			require.NoError(t, write(&b))
			golden(t, name, b.Bytes())
		})
	}
}
