package pace

import "earshot/assistant/channel"

// Declarations says what this package computes, and from what.
func Declarations() []channel.Declaration {
	type ids = []channel.ID
	laps := &channel.Lesson{Code: "pace_slope", From: "six valid flying laps of a stint; the fuel is taken out where the car file has fuel: effect " +
		"or stints with different loads tell it, else a drop is told late"}
	line := channel.All(channel.LapCompleted)
	return []channel.Declaration{
		{Channels: ids{channel.PaceLaps, channel.PaceFuel}, Needs: []channel.Need{line}},
		{Channels: ids{channel.PaceSlope, channel.PaceSlopeLow, channel.PaceSlopeHigh, channel.PaceScatter, channel.PaceUneven}, Seldom: true, Needs: []channel.Need{line}, Lesson: laps},
		{Channels: ids{channel.PaceLoss, channel.PaceLossLaps}, Seldom: true, Lesson: laps,
			Needs: []channel.Need{line, {channel.Of().With(channel.CarKey("drop_off_limit"))}}},
		{Channels: ids{channel.PaceUnevenLaps}, Seldom: true, Lesson: laps,
			Needs: []channel.Need{line, {channel.Of().With(channel.CarKey("pace_scatter_limit"))}}},
	}
}
