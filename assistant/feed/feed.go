package feed

import (
	"slices"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

// A Decoder turns the bytes of one source into samples in the units used inside.
// It belongs to one goroutine.
type Decoder interface {
	// Decode takes one datagram, or the next bytes of a stream cut anywhere, that
	// arrived at `arrived` (seconds on the local monotonic clock, NaN when unknown), and
	// calls emit for each sample. The Row is the decoder's and valid only until emit
	// returns: copy to keep. Bad input is counted, never fatal, and never a wrong sample.
	Decode(p []byte, arrived float64, emit func(channel.Sample))
	// End tells that the stream has ended: an unfinished last line is decoded or counted.
	End(emit func(channel.Sample))
	// Stats is a copy of what was counted so far.
	Stats() Stats
}

// Stats is what a Decoder has seen. Records == Samples + Ignored + Bad + Reordered + Duplicate.
type Stats struct {
	Record      string // what a record is: "datagram", "packet" or "line"
	Records     int64
	Bytes       int64
	Samples     int64
	Ignored     int64            // blank lines, comments, headers, records without a mapped reading
	Bad         int64            // records refused
	BadReadings int64            // readings refused in records that were taken; they are absent
	Reasons     map[string]int64 // refusals of records and of readings, by reason
	LastBad     string           // the last refusal with its place: "line 17: gear: not a number"
	Short       int64            // records refused because they were too short
	Lost        int64            // datagrams that the sequence number says never came
	Reordered   int64            // datagrams that came after a later one: dropped
	Duplicate   int64            // datagrams that came again: dropped
	Restarts    int64            // times the sequence number began anew
	Skipped     int64            // bytes of a stream that are in no packet
	Implausible int64            // readings outside the plausible range of their channel
	ClockBack   int64            // times the source's clock stepped back
	ClockJumps  int64            // times it jumped ahead by more than the limit
	Untimed     int64            // samples without a time of their own though a field is mapped to time; they have that of the one before
	Foreign     int64            // datagrams and connections of senders that the feed file does not name: passed over
	Oversized   int64            // datagrams larger than the feed file allows: passed over
	Reconnects  int64            // times that a broken connection came back
	Missing     []string         // mapped columns that the header does not have
	Twice       []string         // mapped columns that the header has more than once, and which is read
}

// Troubles is how often something was not as it should be.
func (s *Stats) Troubles() int64 {
	return s.Bad + s.BadReadings + s.Lost + s.Reordered + s.Duplicate + s.ClockBack + s.ClockJumps + s.Foreign + s.Oversized + int64(len(s.Missing)+len(s.Twice))
}

func statsOf(c *codec.Counts, record string) Stats {
	s := Stats{
		Record: record, Records: c.Records, Bytes: c.Bytes, Samples: c.Emitted, Ignored: c.Ignored, Bad: c.Bad, BadReadings: c.BadReadings,
		Reasons: map[string]int64{}, LastBad: c.Last(record), Short: c.By[codec.TooShort], Lost: c.Lost, Reordered: c.Reordered,
		Duplicate: c.Duplicate, Restarts: c.Restarts, Skipped: c.Skipped, Missing: slices.Clone(c.Missing),
		Twice: slices.Clone(c.Twice),
	}
	for i, n := range c.By {
		if n > 0 {
			s.Reasons[codec.Reason(i).String()] = n
		}
	}
	return s
}
