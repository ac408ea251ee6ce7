package assistant

import (
	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/assistant/condition"
	"earshot/assistant/course"
	"earshot/assistant/fuel"
	"earshot/assistant/pace"
	"earshot/assistant/race"
	"earshot/assistant/timing"
)

// declarations gathers the declarations of all stages.
func declarations() []channel.Declaration {
	list := []channel.Declaration{
		{Channels: []channel.ID{channel.FeedSilence}},
		{Channels: []channel.ID{channel.ChannelFrozen, channel.ChannelImplausible}, Resting: true},
		{Channels: []channel.ID{channel.FrozenChannel, channel.ImplausibleChannel}, Seldom: true},
	}
	list = append(list, timing.Declarations()...)
	list = append(list, course.Declarations()...)
	list = append(list, condition.Declarations()...)
	list = append(list, fuel.Declarations()...)
	list = append(list, pace.Declarations()...)
	return append(list, race.Declarations()...)
}

// knowledge says what can be known with a feed that gives these channels, and with this car and course file, either of
// which may be nil.
func knowledge(set *channel.Set, covered []channel.ID, k *car.Car, f *course.File) *channel.Knowledge {
	known := channel.NewKnowledge(set, covered, declarations())
	if k != nil {
		for _, key := range k.Keys() {
			known.Give(channel.CarKey(key))
		}
	}
	if f != nil {
		if len(f.Sectors) > 0 {
			known.Give(channel.SectorEnds)
		}
		if f.Width > 0 {
			known.Give(channel.RoadWidth)
		}
	}
	return known
}
