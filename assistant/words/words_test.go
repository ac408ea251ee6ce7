package words

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/journal"
)

func TestEveryFindingHasWords(t *testing.T) {
	require.Equal(t, "Slip of the front wheels was never learned in this session, so their locking and spinning cannot show: no wheel_speed_fl.", English.NeverLearned("slip_front", "no wheel_speed_fl"))
	require.Len(t, English.findings, len(journal.AllFindings))
	for _, f := range journal.AllFindings {
		require.Contains(t, English.findings, f)
	}
	require.Equal(t, "bottoming mid corner", English.Finding(journal.Finding{Kind: "bottoming", Phase: "mid_corner"}), "of a later version")
}
