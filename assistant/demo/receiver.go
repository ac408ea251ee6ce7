package demo

import (
	"math"
	"strconv"

	"earshot/assistant/channel"
)

// The invented courses lie on the open sea, and the drives begin at noon UTC of a day in June.
const (
	originLatitude  = -38.5     // deg: where the local plane touches the earth
	originLongitude = -112.0    // deg
	noon            = 12 * 3600 // s after midnight UTC
)

// Start is when the samples' clock stands at zero, as Unix time in s: 2026-06-01 12:00:00 UTC.
const Start = 1780272000 + noon

// A Receiver tells where the car is as a satellite receiver does: NMEA 0183 sentences RMC and GGA ten times a second,
// without errors but those of the digits. The feed file configs/feeds/demo-bus.yaml describes it beside the Bus.
type Receiver struct {
	x, y, track float64 // of the sample before
	moved       bool
	told        int // fixes so far
	line        []byte
}

// fixRate is how often a receiver tells, in Hz.
const fixRate = 10

// NewReceiver returns a receiver that is switched on with the first sample.
func NewReceiver() *Receiver {
	return &Receiver{track: math.NaN(), told: -1, line: make([]byte, 0, 128)}
}

// Geographic returns latitude and longitude in degrees of a point of the local plane in metres, by the radii of
// curvature of the WGS 84 ellipsoid in the meridian and in the prime vertical (NGA.STND.0036; Snyder, USGS Professional
// Paper 1395, from memory).
func Geographic(x, y float64) (latitude, longitude float64) {
	const (
		a  = 6378137.0
		f  = 1 / 298.257223563
		e2 = f * (2 - f)
	)
	sin, cos := math.Sincos(originLatitude * math.Pi / 180)
	w := 1 - e2*sin*sin
	meridian, vertical := a*(1-e2)/(w*math.Sqrt(w)), a/math.Sqrt(w)
	return originLatitude + y/meridian*180/math.Pi, originLongitude + x/(vertical*cos)*180/math.Pi
}

// Append appends the sentences that are due with this sample: none or two lines. It wants every sample of the drive,
// since the track is that of the way since the one before. It allocates nothing once b is large enough.
func (r *Receiver) Append(b []byte, s channel.Sample) []byte {
	x, y := s.Row[channel.PositionX], s.Row[channel.PositionY]
	if dx, dy := x-r.x, y-r.y; r.moved && math.Hypot(dx, dy) > 1e-3 {
		r.track = math.Mod(450-math.Atan2(dy, dx)*180/math.Pi, 360) // clockwise from north
	}
	r.x, r.y, r.moved = x, y, true
	due := int(math.Floor(s.At*fixRate + 1e-6))
	if due <= r.told {
		return b
	}
	r.told = due
	latitude, longitude := Geographic(x, y)
	speed := s.Row[channel.Speed]

	l := append(r.line[:0], "GPRMC,"...)
	l = append(clockOf(l, s.At), ",A,"...)
	l = append(angle(l, longitude, latitude), ',')
	l = append(strconv.AppendFloat(l, speed*3600/1852, 'f', 3, 64), ',')
	if speed > 0.5 && !math.IsNaN(r.track) { // a receiver that stands knows no track
		l = strconv.AppendFloat(l, r.track, 'f', 2, 64)
	}
	l = append(dateOf(append(l, ','), s.At), ",,,A"...)
	b = sentence(b, l)

	l = append(l[:0], "GPGGA,"...)
	l = append(clockOf(l, s.At), ',')
	l = append(angle(l, longitude, latitude), ",1,11,0.8,4.0,M,0.0,M,,"...)
	b = sentence(b, l)
	r.line = l
	return b
}

// sentence appends the line with its checksum: the exclusive or of all bytes between $ and *.
func sentence(b, l []byte) []byte {
	sum := byte(0)
	for _, c := range l {
		sum ^= c
	}
	return append(append(append(b, '$'), l...), '*', hexDigits[sum>>4], hexDigits[sum&15], '\r', '\n')
}

// pad appends n in so many digits.
func pad(b []byte, n, width int) []byte {
	for div := int(math.Pow10(width - 1)); div > 0; div /= 10 {
		b = append(b, byte('0'+n/div%10))
	}
	return b
}

// clockOf appends hhmmss.sss of UTC.
func clockOf(b []byte, at float64) []byte {
	ms := int(math.Round(at*1000)) + noon*1000
	b = pad(b, ms/3600000%24, 2)
	b = pad(b, ms/60000%60, 2)
	b = pad(b, ms/1000%60, 2)
	return pad(append(b, '.'), ms%1000, 3)
}

// dateOf appends ddmmyy; a drive ends before June does.
func dateOf(b []byte, at float64) []byte {
	return append(pad(b, 1+(int(math.Round(at*1000))+noon*1000)/86400000, 2), "0626"...)
}

// angle appends ddmm.mmmmmmm,N,dddmm.mmmmmmm,E, in ten millionths of a minute, which is a fifth of a millimetre.
func angle(b []byte, longitude, latitude float64) []byte {
	put := func(deg float64, width int, plus, minus byte) {
		units := int(math.Round(math.Abs(deg) * 60e7))
		b = pad(b, units/600000000, width)
		b = pad(b, units/10000000%60, 2)
		b = pad(append(b, '.'), units%10000000, 7)
		if deg < 0 {
			plus = minus
		}
		b = append(b, ',', plus)
	}
	put(latitude, 2, 'N', 'S')
	b = append(b, ',')
	put(longitude, 3, 'E', 'W')
	return b
}
