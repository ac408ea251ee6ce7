package assistant

import (
	"slices"
	"strings"

	"earshot/assistant/car"
	"earshot/assistant/channel"
	"earshot/rules"
)

// Situations in which rules can be suppressed, in the order of their bits.
var situations = []string{"pits", "out_lap", "in_lap", "formation", "full_course_caution"}

// The bits of the situations.
const (
	inPits uint64 = 1 << iota
	onOutLap
	onInLap
	inFormation
	underCaution
)

// A Vocabulary is what rules may speak of: the channels, the car's limits, the units, and which of
// them this feed can give. It implements rules.Vocabulary.
type Vocabulary struct {
	set     *channel.Set
	covered map[channel.ID]bool
	gate    bool // the course file gives the line a place
	sectors bool // and says where sectors end
	width   bool // and how wide the road is
	bests   bool // bests of all sessions are kept
	limits  map[string]car.Limit
	names   []string
	display map[channel.Quantity]Display
}

// A Display is how a driver wants to hear a quantity.
type Display struct {
	Unit     string
	Decimals int
}

// DefaultDisplay is how quantities are spoken where the driver does not choose.
var DefaultDisplay = map[channel.Quantity]Display{
	channel.Pressure:              {"psi", 1},
	channel.Temperature:           {"°C", 0},
	channel.TemperatureDifference: {"K", 0},
	channel.Velocity:              {"km/h", 0},
	channel.Volume:                {"l", 0},
	channel.VolumePerLap:          {"l/lap", 2},
	channel.Laps:                  {"laps", 1},
	channel.Time:                  {"s", 1},
	channel.Ratio:                 {"%", 0},
	channel.Length:                {"m", 0},
	channel.Mass:                  {"kg", 0},
	channel.Angle:                 {"deg", 1},
	channel.None:                  {"number", 0},
}

// NewVocabulary returns the names that rules may use for a feed that covers those channels. gate tells whether the line
// has a place on the course; display overrides DefaultDisplay.
func NewVocabulary(set *channel.Set, covered []channel.ID, gate bool, limits []car.Limit, display map[channel.Quantity]Display) *Vocabulary {
	v := &Vocabulary{
		set: set, gate: gate,
		covered: make(map[channel.ID]bool, len(covered)),
		limits:  make(map[string]car.Limit, len(limits)),
		names:   set.Names(),
		display: make(map[channel.Quantity]Display, len(DefaultDisplay)),
	}
	for _, id := range covered {
		v.covered[id] = true
	}
	for _, l := range limits {
		v.limits[l.Name] = l
		v.names = append(v.names, l.Name)
	}
	for q, d := range DefaultDisplay {
		v.display[q] = d
	}
	for q, d := range display {
		v.display[q] = d
	}
	return v
}

// CourseFile tells what else the course file has: the ends of the sectors, the width of the road.
func (v *Vocabulary) CourseFile(sectors, width bool) { v.sectors, v.width = sectors, width }

// KeepBests tells that bests of all sessions are kept.
func (v *Vocabulary) KeepBests() { v.bests = true }

// Name looks a channel or limit up.
func (v *Vocabulary) Name(name string) (rules.Name, bool) {
	if l, ok := v.limits[name]; ok {
		return rules.Name{Quantity: string(l.Quantity), Const: true, Value: l.Value, Available: true}, true
	}
	id, ok := v.set.Lookup(name)
	if !ok {
		return rules.Name{}, false
	}
	c := v.set.At(id)
	n := rules.Name{Index: int(id), Quantity: string(c.Quantity), Labels: c.Labels}
	if c.Origin == channel.Computed {
		n.Why = v.whyNot(id)
	} else if !v.covered[id] {
		n.Why = "no " + name
	}
	n.Available = n.Why == ""
	n.Momentary = id == channel.LapCompleted || id == channel.PersonalBest || id == channel.StintStarted ||
		id == channel.SectorCompleted || id == channel.PersonalRecord
	return n, true
}

// Names lists all channels and limits.
func (v *Vocabulary) Names() []string { return v.names }

// Unit looks a unit up by its spelling.
func (v *Vocabulary) Unit(spelling string) (rules.Unit, bool) {
	u, ok := channel.UnitNamed(spelling)
	return rules.Unit{Quantity: string(u.Quantity), Scale: u.Scale, Offset: u.Offset}, ok
}

// UnitsOf lists the spellings for a quantity.
func (v *Vocabulary) UnitsOf(quantity string) []string {
	return channel.UnitsOf(channel.Quantity(quantity))
}

// Display tells in which unit and with how many decimals the driver hears a quantity.
func (v *Vocabulary) Display(quantity string) (spelling string, decimals int, ok bool) {
	d, ok := v.display[channel.Quantity(quantity)]
	return d.Unit, d.Decimals, ok
}

// Situations lists the situations in which a rule can be suppressed, in the order of the bits that the core sets.
func (v *Vocabulary) Situations() []string { return situations }

// whyNot says what a computed channel lacks, or nothing where it can be computed. It mirrors what the packages that
// compute the channels need; a test drives both.
func (v *Vocabulary) whyNot(id channel.ID) string {
	has := func(ids ...channel.ID) bool {
		for _, id := range ids {
			if !v.covered[id] {
				return false
			}
		}
		return true
	}
	all4 := func(first channel.ID) bool { return has(first, first+1, first+2, first+3) }
	place := has(channel.PositionX, channel.PositionY) || has(channel.Latitude, channel.Longitude)
	line := has(channel.LapNumber) || has(channel.LapDistance) || place && v.gate
	placed := has(channel.LapDistance) || line && (place || has(channel.Speed))
	tank := has(channel.FuelVolume) || has(channel.FuelMass) || has(channel.FuelFlow)
	race := has(channel.SessionLapsLeft) || has(channel.SessionTimeLeft) || has(channel.LeaderLapsLeft) ||
		has(channel.Flag) && line // a chequered flag at the line says that nothing is to go
	core := func(w channel.ID) bool {
		return has(channel.TyreCarcass+w) || has(channel.TyreTemperature+w) ||
			has(channel.TyreTempInner+w) || has(channel.TyreTempMiddle+w) || has(channel.TyreTempOuter+w)
	}
	core4 := core(0) && core(1) && core(2) && core(3)
	braking := has(channel.Brake) || has(channel.BrakeLineFront) || has(channel.AccelerationLong) || has(channel.Speed)

	var missing []string
	lack := func(ok bool, what string) {
		if !ok && !slices.Contains(missing, what) {
			missing = append(missing, what)
		}
	}
	const (
		aLine  = "lap_number, lap_distance, or position with a gate in the course file"
		aPlace = "lap_distance, or position with a line"
		aTank  = "fuel_volume, fuel_mass or fuel_flow"
		held   = "fuel_volume or fuel_mass"
		left   = "session_laps_left, session_time_left, leader_laps_left or flag"
		tyres  = "tyre_carcass_temperature or tyre_temperature"
		discs  = "brake_temperature of all wheels"
		brakes = "brake, brake_line_pressure_front, acceleration_longitudinal or speed"
	)
	within := func(first channel.ID, n int) bool { return id >= first && id < first+channel.ID(n) }
	switch {
	case id == channel.FeedSilence, id == channel.Stint, id == channel.StintStarted, id == channel.InPits, id == channel.OnOutLap:
	case id == channel.RoomToTalk: // without a course it is guessed from what the car does
		lack(has(channel.Speed) || has(channel.Brake), "speed or brake")
	case id == channel.CoursePlace:
		lack(placed, aPlace)
	case id == channel.CornerHere, id == channel.CornerLast:
		lack(placed, aPlace)
		lack(line, aLine)
		lack(place || has(channel.Speed, channel.YawRate), "position, or speed with yaw_rate")
	case id == channel.LapVoid:
		lack(line, aLine)
		lack(has(channel.LapValid) || has(channel.OnCourse) || v.width && place, "lap_valid, on_course, or position with width in the course file")
	case id == channel.DeltaBest, id == channel.DeltaLast, id == channel.DeltaReference:
		lack(line, aLine)
		lack(placed, aPlace)
		if id == channel.DeltaReference {
			lack(v.bests, "saved lap")
		}
	case id == channel.SectorCompleted, id == channel.LastSector, id == channel.SectorTime, id == channel.SectorDelta, id == channel.PotentialLap:
		lack(line, aLine)
		lack(has(channel.Sector) || v.sectors && placed, "sector, or sectors in the course file with lap_distance or position")
	case id == channel.RecordLap:
		lack(line, aLine)
		lack(v.bests, "bests of other sessions")
	case within(channel.TyreCore, 4):
		lack(core(id-channel.TyreCore), tyres)
	case within(channel.TyreCoreMean, 4):
		lack(core(id-channel.TyreCoreMean), tyres)
		lack(line, aLine)
	case within(channel.TyrePressureMean, 4):
		lack(has(channel.TyrePressure+id-channel.TyrePressureMean), "tyre_pressure")
		lack(line, aLine)
	case id == channel.TyreSpreadFront, id == channel.TyreSpreadRear, id == channel.TyreLapsToReady, id == channel.TyresNeverReady:
		lack(core4, tyres)
		lack(line, aLine)
	case id == channel.TyresReady, id == channel.TyreShortFront, id == channel.TyreShortRear:
		lack(core4, tyres)
	case within(channel.BrakePeak, 4), id == channel.BrakePeakFront, id == channel.BrakePeakRear:
		lack(all4(channel.BrakeTemperature), discs)
		lack(braking, brakes)
	case id == channel.BrakeEvents:
		lack(braking, brakes)
	case within(channel.BrakePeakMean, 4), id == channel.BrakeSpreadFront, id == channel.BrakeSpreadRear:
		lack(all4(channel.BrakeTemperature), discs)
		lack(braking, brakes)
		lack(line, aLine)
	case within(channel.WheelSlip, 4):
		lack(has(channel.WheelSpeed+id-channel.WheelSlip), "wheel_speed")
		lack(has(channel.Speed), "speed")
	case id == channel.Balance:
		lack(has(channel.Speed), "speed")
		lack(has(channel.YawRate), "yaw_rate")
		lack(has(channel.RoadWheelAngle) || has(channel.SteeringWheelAngle), "road_wheel_angle or steering_wheel_angle")
	case id == channel.FuelLeft:
		lack(has(channel.FuelVolume) || has(channel.FuelMass), held)
	case id == channel.FuelPerLap, id == channel.FuelSpread, id == channel.FuelPerLapFull:
		lack(tank, aTank)
		lack(line, aLine)
	case id == channel.FuelLapsLeft, id == channel.FuelBoxLaps:
		lack(has(channel.FuelVolume) || has(channel.FuelMass), held)
		lack(line, aLine)
	case id == channel.LapsToGo:
		lack(race, left)
	case id == channel.FuelMargin, id == channel.FuelDoubt, id == channel.FuelSave, id == channel.FuelToAdd, id >= channel.FuelMarginFull && id <= channel.StopWindow:
		lack(has(channel.FuelVolume) || has(channel.FuelMass), held)
		lack(race, left)
		lack(line, aLine)
	default: // laps and their times
		lack(line, aLine)
	}
	if len(missing) == 0 {
		return ""
	}
	return "no " + strings.Join(missing, ", no ")
}
