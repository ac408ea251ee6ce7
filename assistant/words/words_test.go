package words

import (
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/journal"
)

func TestEveryFindingHasWords(t *testing.T) {
	require.Equal(t, "Wheel slip was never learned in this session, so locking and wheelspin cannot show: no wheel_speed_fl.", English.NeverLearned("slip", "no wheel_speed_fl"))
	require.Len(t, English.findings, len(journal.AllFindings))
	for _, f := range journal.AllFindings {
		require.Contains(t, English.findings, f)
	}
	require.Equal(t, "bottoming mid corner", English.Finding(journal.Finding{Kind: "bottoming", Phase: "mid_corner"}), "of a later version")
}
