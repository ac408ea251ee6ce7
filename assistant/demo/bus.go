package demo

import (
	"math"

	"earshot/assistant/channel"
)

// A Bus tells what the car's controllers put on its CAN bus, as lines of candump's log form:
//
//	(1780315212.016667) can0 100#5DC0C81405000A07
//
// configs/feeds/demo-bus.dbc describes the frames, and configs/feeds/demo-bus.yaml maps them. The bus knows neither
// where the car is nor laps: that is what a Receiver beside it is for. A number that is absent, or too large for its
// place, has all bits set.
type Bus struct {
	told    []int // of each frame: how often the frame was due; 0 before
	counter int64
	page    int
	now     data // kept here so that no frame allocates
}

// NewBus returns a bus that is switched on with the first sample.
func NewBus() *Bus { return &Bus{told: make([]int, len(frames))} }

// A frame is one of the bus. The numbers in it follow one another from bit 0 on, the least significant bit first, but
// for those of the engine.
type frame struct {
	id       uint32
	extended bool
	rate     float64 // Hz; 0 with each sample
	fill     func(b *Bus, p *data, r channel.Row)
}

// data is what a frame carries.
type data struct {
	bytes [8]byte
	n     int // bits so far
}

// put writes the raw number that stands for v in steps of scale from offset, in so many bits.
func (d *data) put(v, scale, offset float64, bits int, signed bool) {
	raw, most := uint64(1)<<bits-1, float64(uint64(1)<<bits-1)
	lo := 0.0
	if signed {
		lo, most = -float64(uint64(1)<<(bits-1)), float64(uint64(1)<<(bits-1)-1)
		raw >>= 1 // the largest means absent, as all bits would be -1
	}
	if x := math.Round((v - offset) / scale); x >= lo && x < most {
		raw = uint64(int64(x)) & (1<<bits - 1)
	}
	for i := range bits {
		d.bytes[(d.n+i)/8] |= byte(raw>>i&1) << ((d.n + i) % 8)
	}
	d.n += bits
}

// wheels fills a frame with a channel of the four wheels.
func wheels(id channel.ID, factor, scale, offset float64) func(*Bus, *data, channel.Row) {
	return func(_ *Bus, d *data, r channel.Row) {
		for w := range channel.ID(4) {
			d.put(r[id+w]*factor, scale, offset, 16, false)
		}
	}
}

const (
	toRPM    = 30 / math.Pi
	toDegree = 180 / math.Pi
	toKmh    = 3.6
)

// The frames, in the order in which they come.
var frames = [...]frame{
	{id: 0x100, fill: func(b *Bus, d *data, r channel.Row) {
		// the engine's: most significant byte first, with counter and checksum
		x := &d.bytes
		revs := uint16(math.Round(r[channel.EngineSpeed] * toRPM / 0.25))
		x[0], x[1] = byte(revs>>8), byte(revs)
		x[2], x[3] = byte(math.Round(r[channel.Throttle]*200)), byte(math.Round(r[channel.Brake]*200))
		x[4], x[5] = byte(int8(r[channel.Gear])), byte(r[channel.PitLimiter])
		x[6] = byte(b.counter & 15)
		b.counter++
		sum := 1 // half bytes of the identifier
		for _, v := range x {
			sum += int(v>>4) + int(v&15)
		}
		x[7] = byte(-sum & 15) // all half bytes together are 0 modulo 16
	}},
	{id: 0x110, fill: wheels(channel.WheelSpeed, toKmh, 0.01, 0)},
	{id: 0x120, fill: func(_ *Bus, d *data, r channel.Row) {
		d.put(r[channel.SteeringWheelAngle]*toDegree, 0.1, 0, 16, true)
		d.put(r[channel.YawRate]*toDegree, 0.01, 0, 16, true)
		d.put(r[channel.AccelerationLong]/gravity, 0.001, 0, 16, true)
		d.put(r[channel.AccelerationLat]/gravity, 0.001, 0, 16, true)
	}},
	{id: 0x130, fill: func(_ *Bus, d *data, r channel.Row) { d.put(r[channel.Speed]*toKmh, 0.01, 0, 16, false) }},
	{id: 0x200, rate: 10, fill: wheels(channel.TyreTemperature, 1, 0.1, -40)},
	{id: 0x201, rate: 10, fill: wheels(channel.TyreCarcass, 1, 0.1, -40)},
	{id: 0x202, rate: 10, fill: wheels(channel.TyrePressure, 1, 0.01, 0)},
	{id: 0x203, rate: 10, fill: wheels(channel.BrakeTemperature, 1, 0.1, -40)},
	{id: 0x204, rate: 1, fill: wheels(channel.TyreWear, 100, 0.01, 0)},
	{id: 0x18A10300, extended: true, rate: 6, fill: func(b *Bus, d *data, r channel.Row) {
		// its first byte says what the others are
		d.put(float64(b.page), 1, 0, 8, false)
		switch b.page {
		case 0:
			d.put(r[channel.CoolantTemperature], 1, -40, 8, false)
			d.put(r[channel.OilTemperature], 1, -40, 8, false)
			d.put(r[channel.OilPressure], 0.1, 0, 16, false)
		case 1:
			d.put(r[channel.FuelVolume], 0.01, 0, 16, false)
			d.put(r[channel.AirPressure], 0.01, 0, 16, false)
		case 2:
			d.put(r[channel.AirTemperature], 0.1, 0, 16, true)
			d.put(r[channel.TrackTemperature], 0.1, 0, 16, true)
		}
		b.page = (b.page + 1) % 3
	}},
	{id: 0x400, rate: 2, fill: func(_ *Bus, d *data, r channel.Row) { // what the marshals' box in the car hears
		d.put(r[channel.SessionKind], 1, 0, 4, false)
		d.put(r[channel.Flag], 1, 0, 4, false)
		d.put(r[channel.SessionLapsLeft], 1, 0, 16, false)
		d.put(r[channel.RacePosition], 1, 0, 8, false)
		d.put(r[channel.GapAhead], 0.01, 0, 16, false)
		d.put(r[channel.GapBehind], 0.01, 0, 16, false)
	}},
	{id: 0x410, rate: 2, fill: func(_ *Bus, d *data, r channel.Row) {
		d.put(r[channel.ABSLevel], 1, 0, 8, false)
		d.put(r[channel.TractionControl], 1, 0, 8, false)
		d.put(r[channel.EngineMap], 1, 0, 8, false)
		d.put(r[channel.Compound], 1, 0, 8, false)
		d.put(r[channel.BrakeBias]*100, 0.01, 0, 16, false)
		d.put(r[channel.SessionTimeLeft], 1, 0, 16, false)
	}},
}

// Append appends the lines of the frames that are due with this sample. It allocates nothing once b is large enough.
func (b *Bus) Append(p []byte, s channel.Sample) []byte {
	for i := range frames {
		f := &frames[i]
		if f.rate > 0 {
			due := int(math.Floor(s.At*f.rate+1e-6)) + 1
			if due <= b.told[i] {
				continue
			}
			b.told[i] = due
		}
		d := &b.now
		*d = data{}
		f.fill(b, d, s.Row)
		us := int(math.Round(s.At*1e6)) + Start*1e6
		p = pad(append(p, '('), us/1e6, 10)
		p = pad(append(p, '.'), us%1e6, 6)
		p = append(p, ") can0 "...)
		digits := 3
		if f.extended {
			digits = 8
		}
		for k := digits - 1; k >= 0; k-- {
			p = append(p, hexDigits[f.id>>(4*k)&15])
		}
		p = append(p, '#')
		for _, x := range d.bytes {
			p = append(p, hexDigits[x>>4], hexDigits[x&15])
		}
		p = append(p, '\n')
	}
	return p
}

const hexDigits = "0123456789ABCDEF"
