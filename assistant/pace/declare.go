package pace

import "earshot/assistant/channel"

// Declarations says what this package computes, and from what.
func Declarations() []channel.Declaration {
	type ids = []channel.ID
	laps := &channel.Lesson{Code: "pace_slope", From: "six valid flying laps of a stint"}
	line := channel.All(channel.LapCompleted)
	// Without what fuel costs, the car that becomes lighter hides some of a drop: it is told late, never wrongly.
	uncorrected := channel.Of()
	uncorrected.Lesson = &channel.Lesson{Code: "fuel_effect", From: "what fuel costs, from stints with different loads or fuel: effect in the car file; until then a drop is told late"}
	fuel := channel.Need{channel.Of(channel.FuelLeft).With(channel.CarKey("fuel: effect")), uncorrected}
	return []channel.Declaration{
		{Channels: ids{channel.PaceLaps, channel.PaceFuel}, Needs: []channel.Need{line}},
		{Channels: ids{channel.PaceSlope, channel.PaceSlopeLow, channel.PaceSlopeHigh}, Seldom: true, Needs: []channel.Need{line, fuel}, Lesson: laps},
		{Channels: ids{channel.PaceScatter, channel.PaceUneven}, Seldom: true, Needs: []channel.Need{line}, Lesson: laps},
		{Channels: ids{channel.PaceLoss, channel.PaceLossLaps}, Seldom: true, Lesson: laps,
			Needs: []channel.Need{line, fuel, {channel.Of().With(channel.CarKey("drop_off_limit"))}}},
		{Channels: ids{channel.PaceUnevenLaps}, Seldom: true, Lesson: laps,
			Needs: []channel.Need{line, {channel.Of().With(channel.CarKey("pace_scatter_limit"))}}},
	}
}
