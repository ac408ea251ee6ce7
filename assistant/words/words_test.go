package words

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/journal"
)

func TestEnglish(t *testing.T) {
	require.Equal(t, "Slip of the front wheels was never learned in this session, so their locking and spinning cannot show: no "+
		"wheel_speed_fl.", English.NeverLearned("slip_front", "no wheel_speed_fl"))
	require.Len(t, English.findings, len(journal.AllFindings))
	for _, f := range journal.AllFindings {
		require.Contains(t, English.findings, f)
	}
	require.Equal(t, "bottoming mid corner", English.Finding(journal.Finding{Kind: "bottoming", Phase: "mid_corner"}), "of a later version")

	lap := journal.NewLap()
	for _, tt := range []struct {
		code   string
		corner int
		place  journal.Num
		want   string
	}{
		{"off_course", 4, 900, "off the course, turn 4"}, {"off_course", 0, 900, "off the course at 900 m"},
		{"moved", 0, journal.Unknown, "the car was moved"},
		{"wide at turn 5", 0, journal.Unknown, "wide at turn 5"},
	} {
		lap.WhyInvalid, lap.InvalidCorner, lap.InvalidDistance = tt.code, tt.corner, tt.place
		require.Equal(t, tt.want, English.Void(lap))
	}
}

func TestNamed(t *testing.T) {
	for _, name := range []string{"", "english"} {
		l, err := Named(name)
		require.NoError(t, err)
		require.Same(t, English, l)
	}
	_, err := Named("old norse")
	require.EqualError(t, err, `there is no language "old norse": use english`)
}

func TestReason(t *testing.T) {
	require.Equal(t, "muted by the driver", English.Reason(&journal.Cue{Reason: "mute",
		Why: "the driver has muted advisories and cautions until 130.0 s"}))
	require.Equal(t, "earlier words", English.Reason(&journal.Cue{Why: "earlier words"}))
}
