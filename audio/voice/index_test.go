package voice

import (
	"errors"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestReadIndexTellsEveryMistake(t *testing.T) {
	_, err := ReadIndex(strings.NewReader(strings.Join([]string{
		"# remark", "rate\tfast", "sound\t../x.flac", "sound\ty.flac", "unit\tFront Left\t0\t5", "unit\thot\t0\t5", "unit\thot\t5\t5",
		"unit\tcold\t-1\t5", "unit\tbig\t0\t99999999", "unit\tone, two\t0\t1", "unit\tx", "colour\tred", "unit\t\t0\t1",
	}, "\n")))
	require.ErrorIs(t, err, ErrIndex)
	require.EqualError(t, err, strings.Join([]string{
		`index.tsv:2: rate "fast"; it is a whole number from 8000 to 48000`,
		`index.tsv:3: sound "../x.flac"; it is the name of a .flac file in the same folder`,
		`index.tsv:4: sound stands in line 3 already`,
		`index.tsv:5: unit "Front Left" is not in normal form; write it as "front left"`,
		`index.tsv:7: unit "hot" stands in line 6 already`,
		`index.tsv:8: unit "cold" from sample "-1", "5" samples: both are whole numbers, the second from 1 to 2880000`,
		`index.tsv:9: unit "big" from sample "0", "99999999" samples: both are whole numbers, the second from 1 to 2880000`,
		`index.tsv:10: unit "one, two" is not in normal form; write it as "one , two"`,
		`index.tsv:11: a line unit has 2 fields between tabs, not 4`,
		`index.tsv:12: unknown kind of line "colour"; there are voice, licence, rate, sound and unit`,
		`index.tsv:13: unit "" is not in normal form; write it as ""`,
	}, "\n"))
	_, err = ReadIndex(strings.NewReader(""))
	require.EqualError(t, err, "index.tsv: there is no line rate\nindex.tsv: there is no line sound\nindex.tsv: there is no line unit")
}

func FuzzReadIndex(f *testing.F) {
	f.Add("voice\tx\nlicence\ty\nrate\t16000\nsound\tu.flac\nunit\tfront left\t0\t100\nunit\tA\t100\t5\n")
	f.Add("rate\t16000\nrate\t16000\nunit\t\xff\t0\t1")
	f.Fuzz(func(t *testing.T, s string) {
		x, err := ReadIndex(strings.NewReader(s))
		if err != nil {
			var ie *IndexError
			if !errors.As(err, &ie) || ie.Line > strings.Count(s, "\n")+2 {
				t.Fatalf("refused with %#v", err)
			}
			return
		}
		again, err := ReadIndex(strings.NewReader(string(x.Encode())))
		require.NoError(t, err)
		require.Equal(t, x, again)
	})
}
