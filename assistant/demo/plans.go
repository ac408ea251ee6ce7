package demo

// A plan is a course as it is written down.
type plan struct {
	name, title string
	width       float64 // m
	heading     float64 // rad at the line, counter-clockwise from east
	box         float64 // m after the line: the stop of the car in the pit lane
	pitIn       float64 // m before the line
	pitOut      float64 // m after the line
	lane        float64 // m left of the centre line
	pieces      []piece
}

// A piece is a straight, or a corner with a transition of ease metres on both sides.
type piece struct {
	straight float64 // m
	free     bool    // length solved so that the course closes

	name         string
	turn         float64 // degrees, left positive
	radius, ease float64 // m
}

func straight(m float64) piece { return piece{straight: m} }
func solved() piece            { return piece{free: true} }
func corner(name string, turn, radius, ease float64) piece {
	return piece{name: name, turn: turn, radius: radius, ease: ease}
}

// The courses are invented, and so are the names on them.
var plans = []plan{
	{
		name: "thimble", title: "Thimble Ring", width: 12, heading: 0.35, box: 140, pitIn: 270, pitOut: 300, lane: 17,
		pieces: []piece{
			straight(430),
			corner("Bobbin", 85, 55, 35),
			straight(130),
			corner("Dart", -55, 70, 30),
			straight(60),
			corner("Pleat", 70, 95, 40),
			solved(),
			corner("Needle", 170, 22, 18), // the hairpin
			straight(200),
			corner("Cuff", -100, 60, 35),
			straight(200),
			corner("Buttonhole In", -45, 45, 22), // the chicane
			straight(15),
			corner("Buttonhole Out", 55, 45, 22),
			solved(),
			corner("Selvedge", 60, 210, 80), // the fast one
			straight(120),
			corner("Hem", 35, 120, 40),
			straight(100),
			corner("Tassel", 85, 48, 30),
			straight(330),
		},
	},
	{
		name: "ledger", title: "Ledger Streets", width: 10, heading: -0.6, box: 90, pitIn: 170, pitOut: 190, lane: -14,
		pieces: []piece{
			straight(260),
			corner("Ink", -90, 18, 12),
			straight(150),
			corner("Blot", -90, 16, 12),
			straight(90),
			corner("Margin", 90, 20, 12),
			straight(180),
			corner("Column", 90, 17, 12),
			straight(140),
			corner("Carry", -90, 24, 14),
			solved(),
			corner("Tally", -90, 18, 12),
			straight(160),
			corner("Folio In", -40, 40, 16),
			straight(12),
			corner("Folio Out", 40, 40, 16),
			solved(),
			corner("Total", -90, 20, 12),
			straight(520),
			corner("Seal", -90, 16, 12),
			straight(220),
		},
	},
	{
		name: "saucer", title: "Saucer Oval", width: 16, heading: 0, box: 80, pitIn: 150, pitOut: 170, lane: 22,
		pieces: []piece{
			straight(200),
			corner("One", 90, 150, 60),
			straight(120),
			corner("Two", 90, 150, 60),
			solved(),
			corner("Three", 90, 150, 60),
			solved(),
			corner("Four", 90, 150, 60),
			straight(200),
		},
	},
}
