package feed

import (
	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/feedfile"
	"earshot/configs/document"
)

// An Encoder speaks a packet feed: the reverse of its Decoder. The demo car and the tests use it.
// It belongs to one goroutine.
type Encoder struct{ inner *packet.Encoder }

// NewEncoder makes an encoder for f, whose codec is packet. The error is a *document.Error.
func NewEncoder(f *feedfile.File, _ *channel.Set) (*Encoder, error) {
	l, ok := f.Layout.(*packet.Layout)
	if !ok {
		return nil, &document.Error{File: f.Path, Msg: "only a packet feed can be encoded, and the codec is " + f.Codec}
	}
	e, err := packet.NewEncoder(*l)
	if err != nil {
		return nil, &document.Error{File: f.Path, Msg: err.Error()}
	}
	return &Encoder{e}, nil
}

// Encode calls send with the datagrams of one sample, those of every kind that is due by its period. The
// bytes are valid until send returns. The error wraps packet.ErrUnsayable and
// names the channel: one that is absent where the layout cannot say absent, or too large
// for its field where it cannot either. The kind with that channel is not sent; the others are.
func (e *Encoder) Encode(s channel.Sample, send func(p []byte)) error {
	return e.inner.Encode(s.Row, s.At, send)
}
