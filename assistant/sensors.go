package assistant

import (
	"fmt"

	"earshot/assistant/channel"
	"earshot/assistant/journal"
	"earshot/assistant/sensor"
)

// tellSensors journals which sensors do not measure, and names them for the rules.
func (c *Core) tellSensors(out *Output) {
	for _, f := range c.guard.Findings() {
		ch := c.setup.Channels.At(f.Channel)
		h := &journal.Health{Part: "sensor " + ch.Name, State: "degraded"}
		unit := channel.UnitsOf(ch.Quantity)[0]
		switch f.Fault {
		case sensor.Frozen:
			h.Text = fmt.Sprintf("frozen: %.5g %s for %.0f s while the car moves; counted as absent", f.Value, unit,
				f.For)
		case sensor.Implausible:
			h.Text = fmt.Sprintf("implausible: %.5g %s; counted as absent", f.Value, unit)
		default:
			h.State, h.Text = "ok", "it measures again"
		}
		c.event(out, h)
	}
	row := c.hold.Row
	row[channel.ChannelFrozen], row[channel.FrozenChannel] = c.frozen.Step(c.now, c.guard)
	row[channel.ChannelImplausible], row[channel.ImplausibleChannel] = c.nonsense.Step(c.now, c.guard)
}
