package feed

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/nmea"
)

// What the sentences tell of the car goes to these channels where the feed file does not say otherwise.
var nmeaDefault = []nmea.Field{
	{ID: channel.Latitude, Item: nmea.Latitude}, {ID: channel.Longitude, Item: nmea.Longitude}, {ID: channel.Speed, Item: nmea.Speed},
	{ID: channel.Heading, Item: nmea.Track}, {ID: channel.PositionZ, Item: nmea.Altitude},
}

// nmeaSection reads the mapping of a satellite receiver, which needs none.
func (p *parser) nmeaSection(n *yaml.Node, top object) {
	o := p.object(n, "nmea", "checksum")
	l := &nmea.Layout{ChecksumOptional: p.choice(o.get("checksum"), "checksum", "required", "optional") == "optional"}
	p.f.nmea = l
	p.at[codec.Time] = top.n // the receiver's clock, whatever else is mapped
	if !top.has("channels") {
		l.Fields = slices.Clone(nmeaDefault)
		for _, f := range l.Fields {
			p.at[f.ID] = top.n
		}
	} else {
		p.eachChannel(top, []string{"item"}, func(e pair, o object, m mapped, wheels bool) {
			if !o.has("item") {
				p.bad(e.kn, "write item: and one of "+strings.Join(nmea.Items(), ", "), "the item of %s is missing", e.key)
				return
			}
			i := slices.Index(nmea.Items(), p.choice(o.get("item"), "item", nmea.Items()...))
			if i < 0 {
				return
			}
			if item := nmea.Item(i); item.Quantity() != m.c.Quantity || m.c.Labels != nil {
				p.bad(o.get("item"), "", "%s is a %s, and %s is a %s", nmea.Items()[i], item.Quantity(), m.c.Name, m.c.Quantity)
			} else {
				l.Fields = append(l.Fields, nmea.Field{ID: m.id, Item: item})
			}
		})
	}
	p.kinds = nil
	for _, items := range nmea.Together() {
		var ids []channel.ID
		for _, f := range l.Fields {
			if slices.Contains(items, f.Item) {
				ids = append(ids, f.ID)
			}
		}
		p.kinds = append(p.kinds, ids)
	}
}
