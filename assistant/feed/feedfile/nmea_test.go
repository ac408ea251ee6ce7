package feedfile

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/configs/document"
)

func TestMistakesOfNMEA(t *testing.T) {
	for text, want := range map[string]string{
		"channels: {speed: {item: sped}}":                            "did you mean speed?",
		"channels: {speed: {}}":                                      "the item of speed is missing",
		"channels: {speed: {item: track}}":                           "track is a angle, and speed is a speed",
		"channels: {time: {item: speed}}":                            "time is mapped in line 1 already",
		"nmea: {checksum: no}":                                       `checksum cannot be "no"`,
		"derived: {lap_distance: speed / 1 km/h * position_z}":       "never come together",
		"channels: {latitude: {item: latitude}, flag: {item: fix}}":  "",
		"channels: {speed: {item: speed}, gear: {item: satellites}}": "",
	} {
		_, err := Parse("f.yaml", []byte("transport: {kind: stdin}\ncodec: nmea\n"+text+"\n"), channel.NewSet())
		if want == "" && !strings.Contains(text, "flag") {
			require.NoError(t, err)
		} else {
			require.ErrorIs(t, err, document.ErrInvalid, text)
			require.ErrorContains(t, err, want, text)
		}
	}
}
