package feedfile

import (
	"slices"
	"strings"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec"
	"earshot/assistant/feed/codec/nmea"
	"earshot/configs/document"
)

// What the sentences tell of the car goes to these channels where the feed file does not say otherwise.
var nmeaDefault = []nmea.Field{
	{ID: channel.Latitude, Item: nmea.Latitude}, {ID: channel.Longitude, Item: nmea.Longitude}, {ID: channel.Speed, Item: nmea.Speed},
	{ID: channel.Heading, Item: nmea.Track}, {ID: channel.PositionZ, Item: nmea.Altitude},
}

// nmeaSection reads the mapping of a satellite receiver, which needs none.
func (p *parser) nmeaSection(n *document.Node, top document.Object) {
	o := p.Object(n, "nmea", "checksum")
	l := &nmea.Layout{ChecksumOptional: p.Choice(o.Get("checksum"), "checksum", "required", "optional") == "optional"}
	p.f.Layout = l
	p.at[codec.Time] = top.N // the receiver's clock, whatever else is mapped
	if !top.Has("channels") {
		l.Fields = slices.Clone(nmeaDefault)
		for _, f := range l.Fields {
			p.at[f.ID] = top.N
		}
	} else {
		p.eachChannel(top, []string{"item"}, func(e document.Pair, o document.Object, m mapped, wheels bool) {
			if !o.Has("item") {
				p.Bad(e.K, "write item: and one of "+strings.Join(nmea.Items(), ", "), "the item of %s is missing", e.Key)
				return
			}
			i := slices.Index(nmea.Items(), p.Choice(o.Get("item"), "item", nmea.Items()...))
			if i < 0 {
				return
			}
			if item := nmea.Item(i); item.Quantity() != m.c.Quantity || m.c.Labels != nil {
				p.Bad(o.Get("item"), "", "%s is a %s, and %s is a %s", nmea.Items()[i], item.Quantity(), m.c.Name, m.c.Quantity)
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
