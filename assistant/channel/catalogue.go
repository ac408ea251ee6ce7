package channel

// An ID is the index of a channel in a Row.
type ID int

// A Wheel is a position on the car. An ID of a per-wheel channel is that of the front left wheel plus the Wheel.
type Wheel int

// The wheels in the order in which they stand in every Row, array and list.
const (
	FL Wheel = iota
	FR
	RL
	RR
)

var wheelSuffix = [4]string{"fl", "fr", "rl", "rr"}

// Suffix returns how the wheel is written at the end of a channel's name: fl, fr, rl or rr.
func (w Wheel) Suffix() string {
	if w < 0 || w > 3 {
		return "?"
	}
	return wheelSuffix[w]
}

// An Origin tells where the readings of a channel come from.
type Origin string

// The origins.
const (
	Measured Origin = "measured" // read from the feed
	Computed Origin = "computed" // worked out by Earshot; a feed cannot supply it
	Custom   Origin = "custom"   // added by the user's feed file
)

// A Channel describes one kind of reading.
type Channel struct {
	Name     string
	Quantity Quantity
	Min, Max float64  // plausible range in the unit used inside; a reading outside it is no reading
	Stale    float64  // seconds after which an old reading counts as absent
	Labels   []string // names of the values 0, 1, 2 … where the channel is a choice, else nil
	Origin   Origin
	About    string // one line for people
}

var catalogue []Channel

const (
	quick = 1.0  // s: what moves with the car
	slow  = 5.0  // s: what warms up and wears
	keep  = 60.0 // s: what changes by the lap or the session
	ever  = 1e9  // s: computed values are withdrawn by whoever computes them
)

func def(name string, q Quantity, lo, hi, stale float64, about string, labels ...string) ID {
	catalogue = append(catalogue, Channel{name, q, lo, hi, stale, labels, Measured, about})
	return ID(len(catalogue) - 1)
}

func wheels(name string, q Quantity, lo, hi, stale float64, about string) ID {
	first := ID(len(catalogue))
	for _, w := range wheelSuffix {
		def(name+"_"+w, q, lo, hi, stale, about)
	}
	return first
}

func calc(name string, q Quantity, about string, labels ...string) ID {
	id := def(name, q, -1e12, 1e12, ever, about, labels...)
	catalogue[id].Origin = Computed
	return id
}

func calcWheels(name string, q Quantity, about string, labels ...string) ID {
	first := ID(len(catalogue))
	for _, w := range wheelSuffix {
		calc(name+"_"+w, q, about, labels...)
	}
	return first
}

// Measured channels. An ID named for a wheel property is that of the front left
// wheel: add a Wheel to it.
var (
	Speed              = def("speed", Velocity, -30, 150, quick, "speed over ground")
	EngineSpeed        = def("engine_speed", AngularVelocity, 0, 2600, quick, "crankshaft speed")
	Gear               = def("gear", None, -2, 12, quick, "gear: -1 reverse, 0 neutral")
	Throttle           = def("throttle", Ratio, -0.05, 1.05, quick, "throttle pedal, 0 to 1")
	Brake              = def("brake", Ratio, -0.05, 1.05, quick, "brake pedal, 0 to 1")
	Clutch             = def("clutch", Ratio, -0.05, 1.05, quick, "clutch pedal, 0 to 1")
	SteeringWheelAngle = def("steering_wheel_angle", Angle, -30, 30, quick, "hand wheel, left positive")
	RoadWheelAngle     = def("road_wheel_angle", Angle, -1.2, 1.2, quick, "mean angle of the front wheels, left positive")
	YawRate            = def("yaw_rate", AngularVelocity, -10, 10, quick, "left positive")
	AccelerationLong   = def("acceleration_longitudinal", Acceleration, -150, 150, quick, "forward positive")
	AccelerationLat    = def("acceleration_lateral", Acceleration, -150, 150, quick, "left positive")
	AccelerationVert   = def("acceleration_vertical", Acceleration, -300, 300, quick, "up positive")
	WheelSpeed         = wheels("wheel_speed", Velocity, -60, 200, quick, "circumferential speed of the wheel")
	TyreTemperature    = wheels("tyre_temperature", Temperature, -30, 400, slow, "tread surface")
	TyreTempInner      = wheels("tyre_temperature_inner", Temperature, -30, 400, slow, "tread surface, inner band")
	TyreTempMiddle     = wheels("tyre_temperature_middle", Temperature, -30, 400, slow, "tread surface, middle band")
	TyreTempOuter      = wheels("tyre_temperature_outer", Temperature, -30, 400, slow, "tread surface, outer band")
	TyreCarcass        = wheels("tyre_carcass_temperature", Temperature, -30, 300, slow, "carcass or core")
	TyrePressure       = wheels("tyre_pressure", Pressure, -50, 700, slow, "gauge pressure")
	TyreWear           = wheels("tyre_wear", Ratio, 0, 1, keep, "worn share of the usable tread")
	BrakeTemperature   = wheels("brake_temperature", Temperature, -30, 1500, slow, "disc")
	BrakeLineFront     = def("brake_line_pressure_front", Pressure, -200, 30000, quick, "hydraulic, front")
	BrakeLineRear      = def("brake_line_pressure_rear", Pressure, -200, 30000, quick, "hydraulic, rear")
	SuspensionTravel   = wheels("suspension_travel", Length, -1, 1, quick, "bump positive")
	RideHeight         = wheels("ride_height", Length, -0.5, 1, quick, "above the ground")
	FuelVolume         = def("fuel_volume", Volume, 0, 1000, keep, "fuel aboard")
	FuelMass           = def("fuel_mass", Mass, 0, 1000, keep, "fuel aboard")
	FuelFlow           = def("fuel_flow", VolumeFlow, 0, 1, quick, "fuel burnt")
	PositionX          = def("position_x", Length, -1e6, 1e6, quick, "east, in a local plane")
	PositionY          = def("position_y", Length, -1e6, 1e6, quick, "north, in a local plane")
	PositionZ          = def("position_z", Length, -1e4, 1e4, quick, "up")
	Latitude           = def("latitude", Angle, -1.5708, 1.5708, quick, "WGS 84, north positive")
	Longitude          = def("longitude", Angle, -3.1416, 3.1416, quick, "WGS 84, east positive")
	Heading            = def("heading", Angle, -1e4, 1e4, quick, "counter-clockwise from east")
	LapNumber          = def("lap_number", None, -1, 1e5, keep, "the feed's own count")
	LapDistance        = def("lap_distance", Length, -1e4, 1e5, quick, "from the line along the course, by the feed")
	LapTime            = def("lap_time", Time, 0, 1e5, quick, "of the lap in progress, by the feed")
	LastLapTime        = def("last_lap_time", Time, 0, 1e5, keep, "of the lap before, by the feed")
	LapValid           = def("lap_valid", None, 0, 1, keep, "1 while the lap counts")
	Sector             = def("sector", None, 0, 100, keep, "by the feed")
	OnCourse           = def("on_course", None, 0, 1, quick, "1 while on the course")
	InPitLane          = def("in_pit_lane", None, 0, 1, keep, "1 in the pit lane or box")
	SessionKind        = def("session_kind", None, 0, 100, keep, "what is being driven", "none", "practice", "qualifying", "race", "formation")
	SessionTimeLeft    = def("session_time_left", Time, -1e5, 1e6, quick, "until the clock hits zero")
	SessionLapsLeft    = def("session_laps_left", Laps, 0, 1e4, keep, "for the leader")
	RacePosition       = def("race_position", None, 0, 1000, keep, "1 leads")
	GapAhead           = def("gap_ahead", Time, -1e4, 1e4, slow, "to the car ahead")
	GapBehind          = def("gap_behind", Time, -1e4, 1e4, slow, "to the car behind")
	LeaderLapsLeft     = def("leader_laps_left", Laps, 0, 1e4, keep, "of the leader")
	Flag               = def("flag", None, 0, 100, keep, "what the marshals show", "none", "green", "yellow", "full_course_caution", "red", "blue", "white", "chequered", "black")
	PitLimiter         = def("pit_limiter", None, 0, 1, quick, "1 when on")
	ABSLevel           = def("abs_level", None, 0, 100, keep, "0 off")
	TractionControl    = def("traction_control_level", None, 0, 100, keep, "0 off")
	BrakeBias          = def("brake_bias", Ratio, 0, 1, keep, "front share")
	EngineMap          = def("engine_map", None, 0, 100, keep, "number of the map")
	Compound           = def("compound", None, 0, 100, keep, "tyre compound fitted", "unknown", "soft", "medium", "hard", "intermediate", "wet")
	TrackTemperature   = def("track_temperature", Temperature, -40, 90, keep, "surface")
	AirTemperature     = def("air_temperature", Temperature, -50, 60, keep, "ambient")
	AirPressure        = def("air_pressure", Pressure, 30, 110, keep, "ambient, absolute")
	OilTemperature     = def("oil_temperature", Temperature, -40, 250, slow, "engine oil")
	CoolantTemperature = def("coolant_temperature", Temperature, -40, 200, slow, "engine coolant")
	OilPressure        = def("oil_pressure", Pressure, -50, 2000, slow, "engine oil")
	DamageFront        = def("damage_front", Ratio, 0, 1, keep, "0 whole")
	DamageRear         = def("damage_rear", Ratio, 0, 1, keep, "0 whole")
	DamageEngine       = def("damage_engine", Ratio, 0, 1, keep, "0 whole")
)

// Computed channels: where the car is and how the lap goes.
var (
	FeedSilence  = calc("feed_silence", Time, "since the last sample")
	Lap          = calc("lap", None, "1 in the first lap begun at the line, 0 before")
	LapCompleted = calc("lap_completed", None, "1 at the sample that completes a lap, else 0")
	LapElapsed   = calc("lap_elapsed", Time, "since the line")
	LapTimeDone  = calc("completed_lap_time", Time, "of the lap completed last")
	BestLap      = calc("best_lap_time", Time, "best valid flying lap of the session")
	LapDelta     = calc("lap_delta", Time, "lap completed last minus the best valid lap before it")
	PersonalBest = calc("personal_best", None, "1 at the sample that completes a new best lap, else 0")
	LapVoid      = calc("lap_void", None, "1 once the lap in progress cannot count")
	LapFlying    = calc("completed_lap_flying", None, "1 when the lap completed last was a valid flying lap, seen and timed whole")
	Stint        = calc("stint", None, "1 in the first stint")
	StintLaps    = calc("stint_laps", Laps, "laps completed in this stint")
	StintStarted = calc("stint_started", None, "1 at the sample that begins a stint, else 0")
	OnOutLap     = calc("on_out_lap", None, "1 in a lap that contains the way out of the pits, and before the first crossing of the line")
	InPits       = calc("in_pits", None, "1 between stints")
	CoursePlace  = calc("course_distance", Length, "from the line along the course")
	CornerHere   = calc("corner", None, "number of the corner the car is in, 0 on a straight")
	CornerLast   = calc("last_corner", None, "number of the corner the car is in or has left last")
	RoomToTalk   = calc("room_to_talk", Time, "until the next braking or turn-in point")

	DeltaBest       = calc("delta_best", Time, "behind the best lap of the session at equal distance; negative is ahead")
	DeltaLast       = calc("delta_last", Time, "behind the lap before at equal distance; negative is ahead")
	DeltaReference  = calc("delta_reference", Time, "behind the saved lap at equal distance: the one chosen, else the best of all sessions; negative is ahead")
	SectorCompleted = calc("sector_completed", None, "1 at the sample that completes a sector, else 0")
	LastSector      = calc("last_sector", None, "number of the sector completed last, from 1")
	SectorTime      = calc("sector_time", Time, "of the sector completed last")
	SectorDelta     = calc("sector_delta", Time, "sector completed last minus the best of it in valid flying laps before; negative is better")
	PotentialLap    = calc("potential_lap_time", Time, "sum of the best sectors of the session's valid flying laps")
	RecordLap       = calc("record_lap_time", Time, "best lap of all sessions on this course with this car and compound")
	PersonalRecord  = calc("personal_record", None, "1 at the sample that completes a lap better than all sessions before, else 0")
)

// Computed channels: sensors that do not measure.
var (
	ChannelFrozen      = calc("channel_frozen", None, "1 while frozen_channel names a sensor whose reading stands still although it must move")
	FrozenChannel      = calc("frozen_channel", None, "the sensor, or several of a kind", sensorNames...)
	ChannelImplausible = calc("channel_implausible", None, "1 while implausible_channel names a sensor whose readings cannot be")
	ImplausibleChannel = calc("implausible_channel", None, "the sensor, or several of a kind", sensorNames...)
)

// Computed channels: the condition of the car.
var (
	TyreCore         = calcWheels("tyre_core", Temperature, "what the window is judged on: carcass where known, else tread")
	TyreCoreMean     = calcWheels("tyre_core_mean", Temperature, "mean of tyre_core over the lap completed last")
	TyreCoreCalm     = calcWheels("tyre_core_calm", Temperature, "tyre_core without the swing of corners, about its mean over a lap")
	TyreCoreRise     = calcWheels("tyre_core_rise", TemperatureDifference, "tyre_core_mean less that of the lap before")
	TyreLoss         = calcWheels("tyre_pressure_loss", Pressure, "lost in a minute: warming and cooling taken out, against the other tyres")
	TyreEdge         = calcWheels("tyre_edge", TemperatureDifference, "between the inner and the outer band of the tread, mean over the lap completed last")
	TyreEdgeSide     = calcWheels("tyre_edge_side", None, "which of the two is hotter", "inner", "outer")
	TyrePressureMean = calcWheels("tyre_pressure_mean", Pressure, "mean over the lap completed last")
	TyrePressureRise = calcWheels("tyre_pressure_rise", Pressure, "tyre_pressure_mean less that of the lap before")
	TyreSpreadFront  = calc("tyre_spread_front", TemperatureDifference, "right minus left of tyre_core_mean")
	TyreSpreadRear   = calc("tyre_spread_rear", TemperatureDifference, "right minus left of tyre_core_mean")
	TyresReady       = calc("tyres_ready", None, "1 while every tyre has been in its window for the hold time")
	TyreLapsToReady  = calc("tyre_laps_to_ready", Laps, "predicted until the last tyre reaches its window")
	TyreShortFront   = calc("tyre_shortfall_front", TemperatureDifference, "lower limit minus the colder tyre, where positive")
	TyreShortRear    = calc("tyre_shortfall_rear", TemperatureDifference, "lower limit minus the colder tyre, where positive")
	BrakePeak        = calcWheels("brake_peak", Temperature, "highest disc temperature of the last braking event")
	BrakePeakFront   = calc("brake_peak_front", Temperature, "mean of the axle's brake_peak")
	BrakePeakRear    = calc("brake_peak_rear", Temperature, "mean of the axle's brake_peak")
	BrakeEvents      = calc("brake_events", None, "braking events in this stint")
	BrakePeakMean    = calcWheels("brake_peak_mean", Temperature, "mean of the braking-event peaks of the lap completed last")
	BrakeSpreadFront = calc("brake_spread_front", TemperatureDifference, "right minus left of brake_peak_mean")
	BrakeSpreadRear  = calc("brake_spread_rear", TemperatureDifference, "right minus left of brake_peak_mean")
	Balance          = calc("balance", Angle, "steering at the road wheels beyond what the bend needs: positive is understeer")
	BrakeFade        = calc("brake_fade", Ratio, "share of the deceleration for the same effort that is lost over three laps, against the stint's first events at the same places")
	CompoundFit      = calc("compound_fit", None, "whether the compound suits the surface and the distance", "fits", "too_cold", "will_not_last")
	TyresNeverReady  = calc("tyres_never_ready", None, "1 when the lap means settle below the window, 0 when they do not, absent while no trend is clear")
	WheelSlip        = calcWheels("wheel_slip", Ratio, "circumferential speed over ground speed, less 1, with the rolling radius learned: -1 is locked")
)

// Computed channels: the race. Those of the car behind follow those of the car ahead.
var (
	GapAheadDue      = calc("gap_ahead_due", None, "1 at the sample at which the gap is news: once in three laps while it changes, once a lap in a fight")
	GapBehindDue     = calc("gap_behind_due", None, "1 at the sample at which the gap is news: once in three laps while it changes, once a lap in a fight")
	GapAheadClosing  = calc("gap_ahead_closing", Time, "by which the gap has become smaller in a lap; negative is larger")
	GapBehindClosing = calc("gap_behind_closing", Time, "by which the gap has become smaller in a lap; negative is larger")
	PositionSettled  = calc("position_settled", None, "race_position that has lasted some seconds")
	Countdown        = calc("countdown", None, "what is left of the race, at the moments at which that is news",
		"nothing", "half_time", "ten_minutes_to_go", "five_minutes_to_go", "five_laps_to_go", "three_laps_to_go", "last_lap")
)

// Computed channels: what the driver sets. What is turned through on the way to a setting does not count.
var (
	ABSSet      = calc("abs_set", None, "abs_level that has lasted a second")
	TractionSet = calc("traction_control_set", None, "traction_control_level that has lasted a second")
	BiasSet     = calc("brake_bias_set", Ratio, "brake_bias that has lasted a second")
	MapSet      = calc("engine_map_set", None, "engine_map that has lasted a second")

	ABSStart      = calc("abs_at_start", None, "abs_set at the start of the stint")
	TractionStart = calc("traction_control_at_start", None, "traction_control_set at the start of the stint")
	BiasStart     = calc("brake_bias_at_start", Ratio, "brake_bias_set at the start of the stint")
	MapStart      = calc("engine_map_at_start", None, "engine_map_set at the start of the stint")
)

// Computed channels: what corners and straights have shown again and again. A finding is news at one sample; where it
// was stays.
var (
	LockingFound         = calcWheels("locking_found", None, "1 at the sample at which a wheel has locked into the same corner again and again, else 0")
	LockingCorner        = calcWheels("locking_corner", None, "the corner of that finding")
	WheelspinFoundFront  = calc("wheelspin_found_front", None, "1 at the sample at which the axle has spun out of the same corner again and again, else 0")
	WheelspinFoundRear   = calc("wheelspin_found_rear", None, "1 at the sample at which the axle has spun out of the same corner again and again, else 0")
	WheelspinCornerFront = calc("wheelspin_corner_front", None, "the corner of that finding")
	WheelspinCornerRear  = calc("wheelspin_corner_rear", None, "the corner of that finding")
	UndersteerFound      = calc("understeer_found", None, "1 at the sample at which the car has pushed in the same corner again and again, else 0")
	UndersteerCorner     = calc("understeer_corner", None, "the corner of that finding")
	UndersteerPhase      = calc("understeer_phase", None, "where in that corner", "braking", "turn_in", "mid_corner", "exit")
	OversteerFound       = calc("oversteer_found", None, "1 at the sample at which the rear has slid in the same corner again and again, else 0")
	OversteerCorner      = calc("oversteer_corner", None, "the corner of that finding")
	OversteerPhase       = calc("oversteer_phase", None, "where in that corner", "braking", "turn_in", "mid_corner", "exit")
	LimiterFound         = calc("limiter_found", None, "1 at the sample at which a straight has held the limiter for half a second again and again, else 0")
	LimiterCorner        = calc("limiter_corner", None, "the corner before that straight")
	LimiterTime          = calc("limiter_time", Time, "on the limiter on that straight, the last time")
	BottomingFound       = calc("bottoming_found", None, "1 at the sample at which the car has touched down at one place again and again, else 0")
	BottomingCorner      = calc("bottoming_corner", None, "the corner of that place, or the one before it")
	GearLowFound         = calc("gear_low_found", None, "1 at the sample at which a corner has been driven in a lower gear than usual twice running, else 0")
	GearLowCorner        = calc("gear_low_corner", None, "the corner of that finding")
	GearLow              = calc("gear_low", None, "the gear that it was driven in")
)

// Computed channels: fuel.
var (
	FuelLeft     = calc("fuel_left", Volume, "aboard, from volume or mass")
	FuelPerLap   = calc("fuel_per_lap", VolumePerLap, "robust centre of the burn of flying laps")
	FuelSpread   = calc("fuel_spread", VolumePerLap, "how far laps differ from fuel_per_lap")
	FuelLapsLeft = calc("fuel_laps_left", Laps, "what the tank still gives")
	LapsToGo     = calc("laps_to_go", Laps, "line crossings until the flag, the lap in progress included")
	FuelMargin   = calc("fuel_margin", Laps, "laps of fuel left over at the flag, reserve kept; negative is short")
	FuelDoubt    = calc("fuel_doubt", Laps, "uncertainty of fuel_margin")
	FuelSave     = calc("fuel_save", VolumePerLap, "to be saved per lap to reach the flag")
	FuelToAdd    = calc("fuel_to_add", Volume, "to reach the flag with the reserve")

	FuelPerLapFull = calc("fuel_per_lap_full", VolumePerLap, "burn of a flying lap at full pace, where the driver saves now")
	FuelMarginFull = calc("fuel_margin_full", Laps, "fuel_margin at full pace")
	FuelState      = calc("fuel_state", None, "the verdict, made at the line: stop where saving cannot bring what is missing", "good", "marginal", "short", "stop")
	FuelStateLaps  = calc("fuel_state_laps", Laps, "laps completed since fuel_state has been what it is")
	FuelTarget     = calc("fuel_target", VolumePerLap, "burn that reaches the flag; absent where nothing has to be saved")
	FuelOverTarget = calc("fuel_over_target", VolumePerLap, "by how much the latest two flying laps missed fuel_target; negative is below")
	FuelSaving     = calc("fuel_saving", None, "whether the driver meets fuel_target", "on_target", "over_target")
	FuelBoxLaps    = calc("fuel_box_laps", Laps, "line crossings after which the car must come in at the latest, 0 in this lap; absent where the tank reaches the flag")
	StopWindow     = calc("stop_window_opens", Laps, "laps until a stop may come, 0 at the end of this lap; absent where none is needed")
)

// Computed channels: the pace of the stint.
var (
	PaceLaps       = calc("pace_laps", Laps, "valid flying laps of the stint on tyres that were ready, on which the pace is judged")
	PaceSlope      = calc("pace_slope", Time, "lap time lost a lap over the stint, fuel taken out where pace_fuel says so; negative is gained")
	PaceSlopeLow   = calc("pace_slope_low", Time, "lower end of its 95 % interval")
	PaceSlopeHigh  = calc("pace_slope_high", Time, "upper end of its 95 % interval")
	PaceFuel       = calc("pace_fuel", None, "whether the fuel burnt off is taken out", "not_taken_out", "from_car_file", "estimated")
	PaceLoss       = calc("pace_loss", Time, "lap time lost a lap, over the latest twelve laps or the stint; absent unless it is beyond drop_off_limit and certain")
	PaceLossLaps   = calc("pace_loss_laps", Laps, "laps completed since there has been a pace_loss")
	PaceScatter    = calc("pace_scatter", Time, "how far lap times out of traffic lie off their line, as a standard deviation")
	PaceUneven     = calc("pace_uneven", Ratio, "pace_scatter as a share of the lap time")
	PaceUnevenLaps = calc("pace_uneven_laps", Laps, "laps completed since pace_uneven has been beyond pace_scatter_limit; absent while it is not")
)
