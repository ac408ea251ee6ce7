package nmea

import (
	"math"
	"time"

	"earshot/assistant/feed/codec"
)

const (
	knot   = 1852.0 / 3600 // m/s, exact by definition
	day    = 86400.0       // s
	degree = math.Pi / 180
)

// sentence reads the one at hand. The numbers of the fields are those of the standard's tables.
func (d *Decoder) sentence() {
	switch string(d.f[0][2:]) {
	case "RMC": // 1 time, 2 status, 3-6 position, 7 knots, 8 track, 9 date, 12 mode (NMEA 2.3)
		d.judge(d.letter(2) == 'A' && measured(d.letter(12)))
		own, ok := d.time(1, d.fix, 9)
		if !ok {
			return
		}
		if d.fix {
			d.position(3)
			d.number(Speed, 7, knot, 0, 1e4)
			d.direction(Track, 8)
		}
		d.done(own, Latitude, Longitude, Speed, Track)
	case "GGA": // 1 time, 2-5 position, 6 quality, 7 satellites, 8 HDOP, 9 altitude, 10 its unit
		d.number(Quality, 6, 1, 0, 9)
		d.number(Satellites, 7, 1, 0, 1e3)
		q := d.value[Quality]
		// 7 is a position typed in by hand. A fix of no satellite is none, unless it is estimated (6) or simulated (8).
		d.judge(q > 0 && q != 7 && (d.value[Satellites] != 0 || q == 6 || q == 8))
		d.fixed(1, 2)
	case "GNS": // 1 time, 2-5 position, 6 modes, 7 satellites, 8 HDOP, 9 altitude in metres
		d.number(Satellites, 7, 1, 0, 1e3)
		fix := false
		for _, m := range d.field(6) {
			fix = fix || m != 'N' && measured(m)
		}
		d.judge(fix)
		d.fixed(1, 2)
	case "GLL": // 1-4 position, 5 time, 6 status, 7 mode (NMEA 2.3)
		d.judge(d.letter(6) == 'A' && measured(d.letter(7)))
		own, ok := d.time(5, false, 0)
		if !ok {
			return
		}
		if d.fix {
			d.position(1)
		}
		d.done(own, Latitude, Longitude)
	case "VTG": // 1 track, 2 T, 5 knots, 6 N, 7 km/h, 8 K, 9 mode (NMEA 2.3)
		// A receiver may write zeros with mode A here while the others say that there is no fix.
		if (d.fix || !d.judged) && measured(d.letter(9)) {
			if d.letter(2) == 'T' {
				d.direction(Track, 1)
			}
			if len(d.field(5)) > 0 && d.letter(6) == 'N' {
				d.number(Speed, 5, knot, 0, 1e4)
			} else if d.letter(8) == 'K' {
				d.number(Speed, 7, 1/3.6, 0, 1e4)
			}
		}
		d.done(false)
	case "GSA": // 2 fix, 15 PDOP, 16 HDOP, 17 VDOP
		d.number(Fix, 2, 1, 1, 3)
		if d.value[Fix] > 1 {
			d.number(PDOP, 15, 1, 0, 99)
			d.number(HDOP, 16, 1, 0, 99)
			d.number(VDOP, 17, 1, 0, 99)
		}
		d.done(false)
	case "HDT": // 1 heading, 2 T
		if d.letter(2) == 'T' {
			d.direction(TrueHeading, 1)
		}
		d.done(false)
	case "ZDA": // 1 time, 2 day, 3 month, 4 year
		if _, ok := d.time(1, d.fix, 2); ok {
			d.Tally.Ignored++ // its time is in force for what follows
		}
	default:
		d.Tally.Ignored++
	}
}

// measured tells whether a mode is one of a measured position: not N (none) and not M (typed in). Receivers older than
// NMEA 2.3 have none.
func measured(mode byte) bool { return mode != 'N' && mode != 'M' }

func (d *Decoder) judge(fix bool) { d.judged, d.fix = true, fix }

// fixed reads what GGA and GNS have in common.
func (d *Decoder) fixed(time, position int) {
	own, ok := d.time(time, false, 0)
	if !ok {
		return
	}
	if d.fix {
		d.position(position)
		d.number(HDOP, 8, 1, 0, 99)
		if string(d.f[0][2:]) == "GNS" || d.letter(10) == 'M' {
			d.number(Altitude, 9, 1, -1e4, 1e5)
		}
	}
	d.done(own, Latitude, Longitude, Altitude, Satellites, Quality, HDOP)
}

// number reads a field; an empty one is absent.
func (d *Decoder) number(i Item, field int, scale, lo, hi float64) {
	b := d.field(field)
	if len(b) == 0 || !d.mapped[i] && i != Quality && i != Fix && i != Satellites {
		return
	}
	x, ok := codec.ParseNumber(b, false)
	switch {
	case !ok:
		d.Tally.RefuseReading(codec.NotANumber, itemNames[i])
	case x < lo || x > hi:
		d.Tally.RefuseReading(codec.OutsideRange, itemNames[i])
	default:
		d.value[i] = x * scale
	}
}

// direction reads degrees clockwise from true north.
func (d *Decoder) direction(i Item, field int) {
	d.number(i, field, degree, 0, 360)
	if v := d.value[i]; !math.IsNaN(v) {
		d.value[i] = math.Remainder(math.Pi/2-v, 2*math.Pi)
	}
}

// position reads latitude, N or S, longitude, E or W: both or neither.
func (d *Decoder) position(first int) {
	if !d.mapped[Latitude] && !d.mapped[Longitude] {
		return
	}
	lat, lon := d.field(first), d.field(first+2)
	if len(lat) == 0 && len(lon) == 0 {
		return
	}
	φ, ok := coordinate(lat, d.field(first+1), 'N', 'S', 90)
	if !ok {
		d.Tally.RefuseReading(codec.NotANumber, itemNames[Latitude])
		return
	}
	λ, ok := coordinate(lon, d.field(first+3), 'E', 'W', 180)
	if !ok {
		d.Tally.RefuseReading(codec.NotANumber, itemNames[Longitude])
		return
	}
	d.value[Latitude], d.value[Longitude] = φ, λ
}

// coordinate reads degrees and minutes written together (ddmm.mm or dddmm.mm) as radians.
func coordinate(b, side []byte, positive, negative byte, limit float64) (float64, bool) {
	whole := 0
	for whole < len(b) && b[whole]-'0' <= 9 {
		whole++
	}
	if whole < 3 || whole > 5 || len(side) != 1 || side[0] != positive && side[0] != negative {
		return 0, false
	}
	deg := 0.0
	for _, c := range b[:whole-2] {
		deg = deg*10 + float64(c-'0')
	}
	min, ok := codec.ParseNumber(b[whole-2:], false)
	if x := deg + min/60; ok && min < 60 && x <= limit {
		if side[0] == negative {
			x = -x
		}
		return x * degree, true
	}
	return 0, false
}

// time reads hhmmss.sss and, if dated, the date that begins at field `date`: ddmmyy in one field, or day, month and
// year in three. Not ok when it is there and makes no sense: the sentence is refused then.
func (d *Decoder) time(field int, dated bool, date int) (own, ok bool) {
	b := d.field(field)
	if len(b) == 0 {
		return false, true
	}
	tod, ok := timeOfDay(b)
	if !ok {
		d.Tally.Refuse(codec.BadSyntax, "time")
		return false, false
	}
	t, shift := tod, 0.0
	if d.timed {
		shift = math.Round((d.now - tod) / day)
		t = tod + shift*day
	}
	if dated && len(d.field(date)) > 0 {
		var today int64
		if today, ok = d.date(date); !ok {
			d.Tally.Refuse(codec.BadSyntax, "date")
			return false, false
		}
		if !d.dated {
			d.dated, d.firstDay = true, today-int64(shift)
		}
		t = tod + float64(today-d.firstDay)*day
	}
	d.now, d.timed, d.torn = t, true, false
	return true, true
}

func timeOfDay(b []byte) (float64, bool) {
	if len(b) < 6 {
		return 0, false
	}
	h, ok1 := digits(b[0:2])
	m, ok2 := digits(b[2:4])
	s, ok3 := codec.ParseNumber(b[4:], false)
	// The first two characters must be digits: no sign. A leap second has the number 60.
	if _, ok := digits(b[4:6]); !ok || !ok1 || !ok2 || !ok3 || h > 23 || m > 59 || s >= 61 {
		return 0, false
	}
	return float64(h*3600+m*60) + s, true
}

func digits(b []byte) (int64, bool) {
	if len(b) == 0 || len(b) > 4 {
		return 0, false
	}
	var x int64
	for _, c := range b {
		if c-'0' > 9 {
			return 0, false
		}
		x = x*10 + int64(c-'0')
	}
	return x, true
}

// date reads the days since 1970-01-01.
func (d *Decoder) date(field int) (int64, bool) {
	b := d.field(field)
	var dd, mm, yy int64
	var ok1, ok2, ok3 bool
	if len(b) == 6 {
		dd, ok1 = digits(b[0:2])
		mm, ok2 = digits(b[2:4])
		if yy, ok3 = digits(b[4:6]); yy < 80 { // the system's own time begins in 1980
			yy += 100
		}
		yy += 1900
	} else {
		dd, ok1 = digits(b)
		mm, ok2 = digits(d.field(field + 1))
		yy, ok3 = digits(d.field(field + 2))
	}
	if !ok1 || !ok2 || !ok3 || dd < 1 || dd > 31 || mm < 1 || mm > 12 || yy < 1 {
		return 0, false
	}
	return time.Date(int(yy), time.Month(mm), int(dd), 0, 0, 0, 0, time.UTC).Unix() / day, true
}
