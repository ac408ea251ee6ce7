package demo

import (
	"math"
	"strconv"
	"strings"

	"earshot/assistant/channel"
)

// An Object writes samples as JSON objects: a key for each channel by its name, the four wheels as a list FL, FR,
// RL, RR, a choice by its label, null for what is absent, all in the units used inside. The feed file
// configs/feeds/demo-json.yaml describes it.
type Object struct {
	set  *channel.Set
	ids  []channel.ID
	keys []string // of each id; empty for a wheel after the first
}

// NewObject returns a writer of the channels that this session can give.
func NewObject(set *channel.Set, s *Sim) *Object {
	o := &Object{set: set, ids: s.Gives()}
	for _, id := range o.ids {
		name := set.At(id).Name
		if i := strings.LastIndexByte(name, '_'); i > 0 {
			if w, ok := wheelNamed(name[i+1:]); ok && w == channel.FL {
				name = name[:i]
			} else if ok {
				name = ""
			}
		}
		o.keys = append(o.keys, name)
	}
	return o
}

// Append appends one sample. It allocates nothing once b is large enough.
func (o *Object) Append(b []byte, x channel.Sample) []byte {
	b = strconv.AppendFloat(append(b, `{"t":`...), x.At, 'g', -1, 64)
	list := false
	for i, id := range o.ids {
		b = append(b, ',')
		if o.keys[i] != "" {
			b = append(append(append(b, '"'), o.keys[i]...), `":`...)
			if list = i+1 < len(o.keys) && o.keys[i+1] == ""; list {
				b = append(b, '[')
			}
		}
		v := x.Row[id]
		labels := o.set.At(id).Labels
		switch {
		case math.IsNaN(v):
			b = append(b, "null"...)
		case labels != nil && v >= 0 && int(v) < len(labels):
			b = append(append(append(b, '"'), labels[int(v)]...), '"')
		default:
			b = strconv.AppendFloat(b, v, 'g', -1, 64)
		}
		if list && (i+1 == len(o.keys) || o.keys[i+1] != "") {
			b, list = append(b, ']'), false
		}
	}
	return append(b, '}')
}
