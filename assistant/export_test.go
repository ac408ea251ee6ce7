package assistant

import "earshot/assistant/channel"

// Declared is for tests.
func Declared(set *channel.Set) map[channel.ID]*channel.Declaration {
	k, all := knowledge(set, nil, nil, nil), map[channel.ID]*channel.Declaration{}
	for id := range channel.ID(set.Len()) {
		if d := k.Declared(id); d != nil {
			all[id] = d
		}
	}
	return all
}
