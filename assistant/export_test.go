package assistant

import "earshot/assistant/channel"

// Row is the core's present row, for tests.
func (c *Core) Row() channel.Row { return c.hold.Row }
