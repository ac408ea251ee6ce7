package course

import ()

// A File is what the user wrote about a course.
type File struct {
	Name      string
	Saved     string  // the saved course that the file is about; empty where not told
	Direction Hand    // of the whole course: Right is clockwise; 0 where not told
	Length    float64 // m along the course; 0 where not told
	Width     float64 // m of the road where it is widest; 0 where not told
	Line      Line
	Sectors   []Boundary // between the sectors, in the order of driving; n of them make n+1 sectors
	Join      [][]int    // corners, as found, that count as one
	Split     []Split    // corners, as found, that count as several
	Names     map[int]string
	Pit       Pit
}

// A Source is what shows that the car passes the start line.
type Source string

// The sources. Auto takes the feed's lap number where there is one, else its lap distance.
const (
	Auto          Source = ""
	ByGate        Source = "gate"
	ByLapDistance Source = "lap_distance"
	ByLapNumber   Source = "lap_number"
)

// A Line is the start and finish line.
type Line struct {
	Source Source
	Gate   Gate // where Source is ByGate
}

// A Boundary ends a sector: a gate, or a distance from the line in metres where Gate is nil.
type Boundary struct {
	Distance float64
	Gate     *Gate
}

// A Split cuts a corner in two. At is in metres from the line; NaN is where the bend is widest between its two tightest
// places.
type Split struct {
	Corner int
	At     float64
}

// A Pit is where the pit lane is, for feeds that do not know it. Nil: not given.
type Pit struct {
	Entry, Exit *Gate
	Line        *Gate // the start line where it crosses the pit lane
	// EntryAt and ExitAt are in m from the line, where the file gives distances. They are only drawn: a distance is the
	// same in the pit lane and beside it.
	EntryAt, ExitAt float64
}

// A Hand is the side to which a bend turns: Left is positive, as in ISO 8855.
type Hand int

// The hands.
const (
	Right Hand = -1
	Left  Hand = 1
)

// String returns left, right or unknown.
func (h Hand) String() string {
	switch h {
	case Left:
		return "left"
	case Right:
		return "right"
	}
	return "unknown"
}
