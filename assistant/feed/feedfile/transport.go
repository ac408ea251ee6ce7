package feedfile

import (
	"slices"
	"strings"

	"earshot/assistant/feed/transport"
	"earshot/configs/document"
)

// transportKeys are the keys of each kind besides kind itself.
var transportKeys = map[transport.Kind][]string{
	transport.UDP:    {"listen", "group", "interface", "from", "largest"},
	transport.TCP:    {"listen", "connect", "from"},
	transport.Serial: {"device", "baud", "data_bits", "parity", "stop_bits"},
	transport.CAN:    {"interface"},
	transport.File:   {"path", "follow"},
	transport.Stdin:  {},
}

// transport reads where the bytes come from.
func (p *parser) transport(o document.Object) {
	if !o.Has("transport") {
		p.Bad(o.N, "write for example transport: {kind: udp, listen: 127.0.0.1:47119}", "the transport is missing")
		return
	}
	var kinds, keys []string
	for _, k := range transport.Kinds() {
		kinds = append(kinds, string(k))
		for _, key := range transportKeys[k] {
			if !slices.Contains(keys, key) {
				keys = append(keys, key)
			}
		}
	}
	to := p.Object(o.Get("transport"), "transport", append([]string{"kind"}, keys...)...)
	if !to.Has("kind") {
		p.Bad(to.N, "use one of "+strings.Join(kinds, ", "), "the kind of transport is missing")
		return
	}
	t := &p.f.Transport
	t.Kind = transport.Kind(p.Choice(to.Get("kind"), "kind", kinds...))
	if t.Kind == "" {
		return
	}
	for _, key := range keys {
		if !slices.Contains(transportKeys[t.Kind], key) && to.Has(key) {
			hint := "take it out"
			if own := transportKeys[t.Kind]; len(own) > 0 {
				hint += "; it has " + strings.Join(own, ", ")
			}
			p.Bad(to.Get(key), hint, "transport %s has no %s", t.Kind, key)
			to.Drop(key)
		}
	}
	switch t.Kind {
	case transport.UDP:
		p.udp(to, t)
	case transport.TCP:
		p.tcp(to, t)
	case transport.Serial:
		p.serial(to, t)
	case transport.CAN:
		before := p.Count()
		if t.Interface = p.Text(to.Get("interface"), "interface"); t.Interface == "" && p.Count() == before {
			p.Bad(to.At("interface"), "write interface: can0, as ip link calls it", "the interface of the bus is missing")
		}
	case transport.File:
		p.fileTransport(to, t)
	}
}

func (p *parser) udp(to document.Object, t *transport.Spec) {
	switch {
	case to.Has("group") && to.Has("listen"):
		p.Bad(to.Get("listen"), "take one of the two out; the port stands in group: 239.255.40.1:47119", "group and listen exclude each other")
	case to.Has("group"):
		t.Group = p.Text(to.Get("group"), "group")
		if _, err := transport.Group(t.Group); err != nil {
			p.Bad(to.Get("group"), "", "%v", err)
		}
	case to.Has("listen"):
		p.listen(to.Get("listen"), t)
	default:
		p.Bad(to.N, "write listen: 127.0.0.1:PORT, the port to which the source sends", "the address to listen on is missing")
	}
	if t.Interface = p.Text(to.Get("interface"), "interface"); to.Has("interface") && !to.Has("group") {
		p.Bad(to.Get("interface"), "take it out, and write the address of the interface in listen:", "only a group is joined on an interface")
	}
	p.from(to.Get("from"), t)
	t.Largest = int(p.Integer(to.Get("largest"), "largest", 1, transport.LargestDatagram))
}

func (p *parser) tcp(to document.Object, t *transport.Spec) {
	switch {
	case to.Has("connect") && to.Has("listen"):
		p.Bad(to.Get("listen"), "take one of the two out: connect to a server that sends, or listen for a client that does", "connect and listen exclude each other")
	case to.Has("connect"):
		t.Connect = p.Text(to.Get("connect"), "connect")
		if err := transport.Remote(t.Connect); err != nil {
			p.Bad(to.Get("connect"), "", "%v", err)
		}
		if to.Has("from") {
			p.Bad(to.Get("from"), "take it out", "the sender is the one that connect names")
		}
	case to.Has("listen"):
		p.listen(to.Get("listen"), t)
		p.from(to.Get("from"), t)
	default:
		p.Bad(to.N, "write connect: HOST:PORT to fetch from a server, or listen: 127.0.0.1:PORT to wait for a sender", "the address is missing")
	}
}

func (p *parser) listen(n *document.Node, t *transport.Spec) {
	addr, err := transport.Addr(p.Text(n, "listen"))
	if err != nil {
		p.Bad(n, "", "%v", err)
	}
	t.Listen = addr
}

// from reads which senders are listened to.
func (p *parser) from(n *document.Node, t *transport.Spec) {
	if n == nil {
		return
	}
	list := p.OneOrMore(n, "from")
	if len(list) == 0 {
		p.Bad(n, "take it out, or name the senders", "from names nobody")
	}
	for _, c := range list {
		s := p.Text(c, "a sender")
		if s == "" {
			continue // told already
		}
		sender, err := transport.Sender(s)
		if err != nil {
			p.Bad(c, "", "%v", err)
			continue
		}
		t.From = append(t.From, sender)
	}
}

func (p *parser) serial(to document.Object, t *transport.Spec) {
	before := p.Count()
	if t.Device = p.Text(to.Get("device"), "device"); t.Device == "" && p.Count() == before {
		p.Bad(to.At("device"), "write device: /dev/ttyUSB0, or COM3 on Windows", "the device is missing")
	}
	if !to.Has("baud") {
		p.Bad(to.N, "write baud: 115200, or what the source is set to", "the baud rate is missing")
	}
	t.Baud = int(p.Integer(to.Get("baud"), "baud", 50, 20_000_000))
	t.DataBits = int(p.Integer(to.Get("data_bits"), "data_bits", 5, 8))
	t.Parity = p.Choice(to.Get("parity"), "parity", "none", "even", "odd", "mark", "space")
	t.StopBits = p.Choice(to.Get("stop_bits"), "stop_bits", "1", "1.5", "2")
}

// fileTransport reads a file's path. A file without one is named on the command line.
func (p *parser) fileTransport(to document.Object, t *transport.Spec) {
	t.Path = p.Text(to.Get("path"), "path")
	t.Follow = p.Flag(to.Get("follow"), "follow", false)
	if t.Follow && t.Path == "" {
		p.Bad(to.Get("follow"), "write path: and the file that another program writes", "there is nothing to follow")
	}
}
