package feed

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"earshot/assistant/feed/transport"
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
func (p *parser) transport(o object) {
	if !o.has("transport") {
		p.bad(o.n, "write for example transport: {kind: udp, listen: 127.0.0.1:47119}", "the transport is missing")
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
	to := p.object(o.get("transport"), "transport", append([]string{"kind"}, keys...)...)
	if !to.has("kind") {
		p.bad(to.n, "use one of "+strings.Join(kinds, ", "), "the kind of transport is missing")
		return
	}
	t := &p.f.Transport
	t.Kind = transport.Kind(p.choice(to.get("kind"), "kind", kinds...))
	if t.Kind == "" {
		return
	}
	for _, key := range keys {
		if !slices.Contains(transportKeys[t.Kind], key) && to.has(key) {
			hint := "take it out"
			if own := transportKeys[t.Kind]; len(own) > 0 {
				hint += "; it has " + strings.Join(own, ", ")
			}
			p.bad(to.get(key), hint, "transport %s has no %s", t.Kind, key)
			delete(to.m, key)
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
		before := len(p.errs)
		if t.Interface = p.text(to.get("interface"), "interface"); t.Interface == "" && len(p.errs) == before {
			p.bad(to.at("interface"), "write interface: can0, as ip link calls it", "the interface of the bus is missing")
		}
	case transport.File:
		p.fileTransport(to, t)
	}
}

func (p *parser) udp(to object, t *transport.Spec) {
	switch {
	case to.has("group") && to.has("listen"):
		p.bad(to.get("listen"), "take one of the two out; the port stands in group: 239.255.40.1:47119", "group and listen exclude each other")
	case to.has("group"):
		t.Group = p.text(to.get("group"), "group")
		if _, err := transport.Group(t.Group); err != nil {
			p.bad(to.get("group"), "", "%v", err)
		}
	case to.has("listen"):
		p.listen(to.get("listen"), t)
	default:
		p.bad(to.n, "write listen: 127.0.0.1:PORT, the port to which the source sends", "the address to listen on is missing")
	}
	if t.Interface = p.text(to.get("interface"), "interface"); to.has("interface") && !to.has("group") {
		p.bad(to.get("interface"), "take it out, and write the address of the interface in listen:", "only a group is joined on an interface")
	}
	p.from(to.get("from"), t)
	t.Largest = int(p.integer(to.get("largest"), "largest", 1, transport.LargestDatagram))
}

func (p *parser) tcp(to object, t *transport.Spec) {
	switch {
	case to.has("connect") && to.has("listen"):
		p.bad(to.get("listen"), "take one of the two out: connect to a server that sends, or listen for a client that does", "connect and listen exclude each other")
	case to.has("connect"):
		t.Connect = p.text(to.get("connect"), "connect")
		if err := transport.Remote(t.Connect); err != nil {
			p.bad(to.get("connect"), "", "%v", err)
		}
		if to.has("from") {
			p.bad(to.get("from"), "take it out", "the sender is the one that connect names")
		}
	case to.has("listen"):
		p.listen(to.get("listen"), t)
		p.from(to.get("from"), t)
	default:
		p.bad(to.n, "write connect: HOST:PORT to fetch from a server, or listen: 127.0.0.1:PORT to wait for a sender", "the address is missing")
	}
}

func (p *parser) listen(n *yaml.Node, t *transport.Spec) {
	addr, err := transport.Addr(p.text(n, "listen"))
	if err != nil {
		p.bad(n, "", "%v", err)
	}
	t.Listen = addr
}

// from reads which senders are listened to.
func (p *parser) from(n *yaml.Node, t *transport.Spec) {
	if n == nil {
		return
	}
	list := []*yaml.Node{n}
	if n.Kind == yaml.SequenceNode {
		if list = p.list(n, "from"); len(list) == 0 {
			p.bad(n, "take it out, or name the senders", "from names nobody")
		}
	}
	for _, c := range list {
		s := p.text(c, "a sender")
		if s == "" {
			continue // told already
		}
		sender, err := transport.Sender(s)
		if err != nil {
			p.bad(c, "", "%v", err)
			continue
		}
		t.From = append(t.From, sender)
	}
}

func (p *parser) serial(to object, t *transport.Spec) {
	before := len(p.errs)
	if t.Device = p.text(to.get("device"), "device"); t.Device == "" && len(p.errs) == before {
		p.bad(to.at("device"), "write device: /dev/ttyUSB0, or COM3 on Windows", "the device is missing")
	}
	if !to.has("baud") {
		p.bad(to.n, "write baud: 115200, or what the source is set to", "the baud rate is missing")
	}
	t.Baud = int(p.integer(to.get("baud"), "baud", 50, 20_000_000))
	t.DataBits = int(p.integer(to.get("data_bits"), "data_bits", 5, 8))
	t.Parity = p.choice(to.get("parity"), "parity", "none", "even", "odd", "mark", "space")
	t.StopBits = p.choice(to.get("stop_bits"), "stop_bits", "1", "1.5", "2")
}

// fileTransport reads a file's path. A file without one is named on the command line.
func (p *parser) fileTransport(to object, t *transport.Spec) {
	t.Path = p.text(to.get("path"), "path")
	t.Follow = p.boolean(to.get("follow"), "follow", false)
	if t.Follow && t.Path == "" {
		p.bad(to.get("follow"), "write path: and the file that another program writes", "there is nothing to follow")
	}
}
