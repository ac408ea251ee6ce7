package course

import "earshot/assistant/channel"

// Declarations says what this package computes, and from what.
func Declarations() []channel.Declaration {
	lesson := &channel.Lesson{Code: "course", From: "one whole lap, or a saved course that is recognised"}
	shape := channel.Need{
		channel.Of(channel.PositionX, channel.PositionY), channel.Of(channel.Latitude, channel.Longitude),
		channel.Of(channel.Speed, channel.YawRate),
	}
	return []channel.Declaration{
		{Channels: []channel.ID{channel.CornerHere, channel.CornerLast}, Lesson: lesson, Needs: []channel.Need{
			channel.All(channel.LapCompleted), channel.All(channel.CoursePlace), shape,
		}},
		// Before the course is known it is guessed from what the car does.
		{Channels: []channel.ID{channel.RoomToTalk}, Resting: true, Needs: []channel.Need{{
			channel.Of(channel.Speed), channel.Of(channel.Brake), channel.Of(channel.InPitLane, channel.CornerHere),
		}}},
	}
}
