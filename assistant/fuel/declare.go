package fuel

import "earshot/assistant/channel"

// Declarations says what this package computes, and from what.
func Declarations() []channel.Declaration {
	type ids = []channel.ID
	burn := &channel.Lesson{Code: "fuel_per_lap", From: "one flying lap"}
	spread := &channel.Lesson{Code: "fuel_spread", From: "three flying laps"}
	pace := &channel.Lesson{Code: "pace", From: "one flying lap"}
	flag := &channel.Lesson{Code: "chequered_flag", From: "the chequered flag"}
	mass := channel.Of(channel.FuelMass).With(channel.CarKey("fuel: density"))
	tank := channel.Need{channel.Of(channel.FuelVolume), mass}
	line := channel.All(channel.LapCompleted)
	timed, flagged := channel.Of(channel.SessionTimeLeft, channel.LapCompleted), channel.Of(channel.Flag, channel.LapCompleted)
	timed.Lesson, flagged.Lesson = pace, flag
	margin := channel.All(channel.FuelLeft, channel.FuelPerLap, channel.LapsToGo)
	verdict := channel.All(channel.FuelDoubt)
	return []channel.Declaration{
		{Channels: ids{channel.FuelLeft}, Needs: []channel.Need{tank}},
		{Channels: ids{channel.FuelPerLap}, Needs: []channel.Need{append(tank, channel.Of(channel.FuelFlow)), line}, Lesson: burn},
		{Channels: ids{channel.FuelSpread}, Needs: []channel.Need{channel.All(channel.FuelPerLap)}, Lesson: spread},
		{Channels: ids{channel.FuelLapsLeft}, Needs: []channel.Need{channel.All(channel.FuelLeft, channel.FuelPerLap)}},
		// Where nothing else tells the end, the chequered flag says that nothing is to go.
		{Channels: ids{channel.LapsToGo}, Needs: []channel.Need{{
			channel.Of(channel.SessionLapsLeft), channel.Of(channel.LeaderLapsLeft), timed, flagged,
		}}},
		{Channels: ids{channel.FuelMargin}, Needs: []channel.Need{margin}},
		{Channels: ids{channel.FuelSave, channel.FuelToAdd}, Seldom: true, Needs: []channel.Need{margin}},
		{Channels: ids{channel.FuelDoubt}, Needs: []channel.Need{margin, channel.All(channel.FuelSpread)}},
		{Channels: ids{channel.FuelPerLapFull}, Needs: []channel.Need{channel.All(channel.FuelPerLap)}},
		{Channels: ids{channel.FuelMarginFull}, Needs: []channel.Need{margin}},
		{Channels: ids{channel.FuelState, channel.FuelStateLaps}, Seldom: true, Needs: []channel.Need{verdict}},
		{Channels: ids{channel.FuelTarget, channel.FuelOverTarget, channel.FuelSaving}, Seldom: true, Needs: []channel.Need{verdict}},
		{Channels: ids{channel.FuelBoxLaps}, Seldom: true, Needs: []channel.Need{channel.All(channel.FuelLapsLeft)}},
		{Channels: ids{channel.StopWindow}, Seldom: true, Needs: []channel.Need{verdict, {channel.Of().With(channel.CarKey("fuel: tank"))}}},
	}
}
