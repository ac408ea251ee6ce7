package spoken

// A Language is what a voice says besides texts that somebody wrote: numbers, and what the wheels, axles and sides of a
// car are called. A second language is another value of this type.
type Language struct {
	Name string // as a configuration selects it

	Number   func(x float64, decimals int) string
	Brief    func(x float64, decimals int) string // as short as a driver needs it
	Tens     func(x float64) string               // rounded to ten
	Cardinal func(n int64) string
	LapTime  func(seconds float64, decimals int) string
	LapBrief func(seconds float64) string // for a driver who knows the minute
	Gap      func(seconds float64) string // between two cars
	Compared func(seconds float64) string // to another lap time
	Laps     func(laps float64) string
	Plus     string // before a number that is told with its sign
	Off      string // in place of zero

	// Places are the names by code: fl, fr, rl, rr, front, rear, left, right.
	Places map[string]string
	// Together are names of several places at once by their codes, fl+fr, where they have one; a side alone is left or
	// right. Others are told one by one with And between them.
	Together map[string]string
	And      string
}

// English is British English, and the language where none is selected.
var English = &Language{
	Name:   "english",
	Number: Number, Brief: Brief, Tens: Tens, Cardinal: Cardinal,
	LapTime: LapTime, LapBrief: LapBrief, Gap: Gap, Compared: Compared, Laps: Laps,
	Plus: "plus ", Off: "off",
	Places: map[string]string{
		"fl": "front left", "fr": "front right", "rl": "rear left", "rr": "rear right",
		"front": "front", "rear": "rear", "left": "left", "right": "right",
	},
	Together: map[string]string{
		"fl+fr": "front", "rl+rr": "rear", "fl+rl": "left side", "fr+rr": "right side", "fl+fr+rl+rr": "all four",
		"fr+rl+rr": "all but front left", "fl+rl+rr": "all but front right", "fl+fr+rr": "all but rear left",
		"fl+fr+rl":   "all but rear right",
		"front+rear": "", "left": "left side", "right": "right side", "left+right": "both sides",
	},
	And: " and ",
}
