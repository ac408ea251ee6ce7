package feed

import "earshot/assistant/health"

// What of a feed may fall ill.
var (
	Whole   = health.Part{Name: "feed", About: "nothing comes, or what comes is refused, late or out of order", Lost: "feed-lost"}
	Source  = health.Part{Name: "source", Many: true, About: "the same of one source among several"}
	Reading = health.Part{Name: "channel", Many: true, About: "readings outside the range of the channel: counted as absent"}
)
