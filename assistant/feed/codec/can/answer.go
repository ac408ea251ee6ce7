package can

import (
	"math"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
)

// A PID is a parameter of SAE J1979 (ISO 15031-5) service 01: reading = raw*Scale + Offset.
type PID struct {
	ID            byte
	Name          string
	Bytes         int
	Scale, Offset float64
	Quantity      channel.Quantity
	Unit          string // a spelling of package channel
}

// PIDs are those that are known.
var PIDs = []PID{
	{0x04, "calculated load", 1, 100.0 / 255, 0, channel.Ratio, "%"},
	{0x05, "coolant temperature", 1, 1, -40, channel.Temperature, "°C"},
	{0x0A, "fuel pressure", 1, 3, 0, channel.Pressure, "kPa"},
	{0x0C, "engine speed", 2, 0.25, 0, channel.AngularVelocity, "rpm"},
	{0x0D, "vehicle speed", 1, 1, 0, channel.Velocity, "km/h"},
	{0x0E, "timing advance", 1, 0.5, -64, channel.Angle, "deg"},
	{0x0F, "intake air temperature", 1, 1, -40, channel.Temperature, "°C"},
	{0x11, "throttle position", 1, 100.0 / 255, 0, channel.Ratio, "%"},
	{0x2F, "fuel level", 1, 100.0 / 255, 0, channel.Ratio, "%"},
	{0x5E, "fuel rate", 2, 0.05, 0, channel.VolumeFlow, "L/h"},
}

// PIDNamed returns the parameter with that number.
func PIDNamed(id byte) (PID, bool) {
	for _, p := range PIDs {
		if p.ID == id {
			return p, true
		}
	}
	return PID{}, false
}

// An Answer sends a parameter to a channel. Its Field converts the raw number.
type Answer struct {
	codec.Field
	PID byte
}

// answers tells whether a frame is from a controller that answers requests (ISO 15765-4).
func answers(f *Frame) bool {
	if f.Extended {
		return f.ID&^0xff == 0x18DAF100
	}
	return f.ID&^7 == 0x7E8
}

// answer reads a single frame of ISO 15765-2 with one or more parameters. A negative answer, one of
// another service and a broken one are refused; the parts of longer answers are none of ours.
func (d *Decoder) answer() (any, refused bool) {
	f, c, slots := &d.frame, &d.Tally, d.rec.Slots()
	if f.Len == 0 || f.Data[0]>>4 > 3 {
		c.Refuse(codec.BadSyntax, "answer")
		return false, true
	}
	if f.Data[0]>>4 != 0 {
		return false, false
	}
	n := int(f.Data[0])
	if n == 0 || n > 7 || n >= f.Len {
		c.Refuse(codec.WrongLength, "answer")
		return false, true
	}
	p := f.Data[1 : 1+n]
	switch p[0] {
	case 0x41:
	case 0x7F:
		c.Refuse(codec.UnknownKind, "negative answer")
		return false, true
	default:
		c.Refuse(codec.UnknownKind, "answer of another service")
		return false, true
	}
	for p = p[1:]; len(p) > 0; {
		pid, ok := PIDNamed(p[0])
		if !ok {
			break // how long it is, is not known
		}
		if len(p) < 1+pid.Bytes {
			c.Refuse(codec.WrongLength, pid.Name)
			return false, true
		}
		raw := 0.0
		for _, b := range p[1 : 1+pid.Bytes] {
			raw = raw*256 + float64(b)
		}
		p = p[1+pid.Bytes:]
		for i := range d.layout.Answers {
			a := &d.layout.Answers[i]
			if a.PID != pid.ID {
				continue
			}
			if v := a.FromNumber(raw, c); !math.IsNaN(v) {
				slots[a.ID] = v
				any = true
			}
		}
	}
	return any, false
}
