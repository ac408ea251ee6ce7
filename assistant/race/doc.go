// Package race follows the gaps to the cars around, the position and what is left of the race, and decides at which
// moments they are news: a gap once a lap at one place of the course, or sooner where it turns into a fight; what is
// left at a few round numbers.
//
// It is pure: time is an argument, and equal calls give equal results. Its owner is the core.
package race

import "earshot/assistant/channel"

// Declarations says what this package computes, and from what.
func Declarations() []channel.Declaration {
	type ids = []channel.ID
	line := channel.All(channel.LapCompleted)
	list := []channel.Declaration{
		{Channels: ids{channel.PositionSettled}, Seldom: true,
			Needs: []channel.Need{channel.All(channel.RacePosition)}},
		{Channels: ids{channel.Countdown}, Resting: true, Needs: []channel.Need{{
			channel.Of(channel.SessionTimeLeft), channel.Of(channel.SessionLapsLeft, channel.LapCompleted),
			channel.Of(channel.LeaderLapsLeft, channel.LapCompleted),
		}}},
	}
	for i := range channel.ID(2) {
		gap := channel.All(channel.GapAhead + i)
		list = append(list,
			channel.Declaration{Channels: ids{channel.GapAheadDue + i}, Momentary: true, Resting: true,
				Needs: []channel.Need{gap}},
			channel.Declaration{Channels: ids{channel.GapAheadClosing + i}, Seldom: true,
				Needs: []channel.Need{gap, line}},
		)
	}
	return list
}
