package timing

import "earshot/assistant/channel"

// Declarations says what this package computes, and from what.
func Declarations() []channel.Declaration {
	line := channel.All(channel.LapCompleted)
	position := channel.Of(channel.PositionX, channel.PositionY)
	fix := channel.Of(channel.Latitude, channel.Longitude)
	place := channel.All(channel.CoursePlace)
	moves := channel.Need{channel.Of(channel.Speed), channel.Of(channel.InPitLane), position, fix}
	return []channel.Declaration{
		{Channels: []channel.ID{channel.LapCompleted}, Momentary: true, Resting: true, Needs: []channel.Need{{
			channel.Of(channel.LapNumber), channel.Of(channel.LapDistance), position, fix,
		}}},
		{Channels: []channel.ID{channel.Lap, channel.StintLaps, channel.OnOutLap}, Resting: true,
			Needs: []channel.Need{line}},
		{Channels: []channel.ID{channel.PersonalBest}, Momentary: true, Resting: true, Needs: []channel.Need{line}},
		{Channels: []channel.ID{channel.LapElapsed, channel.LapTimeDone, channel.LapFlying, channel.BestLap},
			Needs: []channel.Need{line}},
		{Channels: []channel.ID{channel.LapDelta}, Seldom: true, Needs: []channel.Need{line}},
		{Channels: []channel.ID{channel.LapVoid}, Resting: true, Needs: []channel.Need{line, {
			channel.Of(channel.LapValid), channel.Of(channel.OnCourse), position.With(channel.RoadWidth),
			fix.With(channel.RoadWidth),
		}}},
		{Channels: []channel.ID{channel.Stint, channel.InPits}, Resting: true, Needs: []channel.Need{moves}},
		{Channels: []channel.ID{channel.StintStarted}, Momentary: true, Resting: true, Needs: []channel.Need{moves}},
		{Channels: []channel.ID{channel.CoursePlace}, Needs: []channel.Need{{
			channel.Of(channel.LapDistance), channel.Of(channel.LapCompleted, channel.Speed),
			channel.Of(channel.LapCompleted, channel.PositionX, channel.PositionY),
			channel.Of(channel.LapCompleted, channel.Latitude, channel.Longitude),
		}}},
		{Channels: []channel.ID{channel.DeltaBest, channel.DeltaLast}, Needs: []channel.Need{line, place}},
		{Channels: []channel.ID{channel.DeltaReference},
			Needs: []channel.Need{line, place, {channel.Of().With(channel.EarlierBest)}}},
		{Channels: []channel.ID{channel.SectorCompleted}, Momentary: true, Resting: true,
			Needs: []channel.Need{line, sectorEnds}},
		{Channels: []channel.ID{channel.LastSector, channel.SectorTime, channel.SectorDelta, channel.PotentialLap},
			Needs: []channel.Need{line, sectorEnds}},
		{Channels: []channel.ID{channel.RecordLap}, Needs: []channel.Need{line,
			{channel.Of().With(channel.EarlierBest)}}},
		{Channels: []channel.ID{channel.PersonalRecord}, Momentary: true, Resting: true, Needs: []channel.Need{line}},
	}
}

var sectorEnds = channel.Need{channel.Of(channel.Sector), channel.Of(channel.CoursePlace).With(channel.SectorEnds)}
