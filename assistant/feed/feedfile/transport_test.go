package feedfile

import (
	"net/netip"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"earshot/assistant/channel"
	"earshot/assistant/feed/codec/packet"
	"earshot/assistant/feed/transport"
	"earshot/configs/document"
)

const tail = "codec: csv\nchannels: {gear: {column: g}}\nclock: {period: 1 s}\n"

func TestTransports(t *testing.T) {
	anyone := netip.MustParsePrefix("10.0.0.0/8")
	one := netip.MustParsePrefix("192.168.1.20/32")
	for text, want := range map[string]transport.Spec{
		"kind: udp, listen: 47119": {Kind: transport.UDP, Listen: "127.0.0.1:47119"},
		"kind: udp, listen: '0.0.0.0:5', from: [192.168.1.20, 10.1.2.3/8], largest: 600":     {Kind: transport.UDP, Listen: "0.0.0.0:5", From: []netip.Prefix{one, anyone}, Largest: 600},
		"kind: udp, group: '239.255.40.1:47119', interface: eth1":                            {Kind: transport.UDP, Group: "239.255.40.1:47119", Interface: "eth1"},
		"kind: tcp, connect: 'logger.local:5000'":                                            {Kind: transport.TCP, Connect: "logger.local:5000"},
		"kind: tcp, listen: 5000, from: 192.168.1.20":                                        {Kind: transport.TCP, Listen: "127.0.0.1:5000", From: []netip.Prefix{one}},
		"kind: serial, device: /dev/ttyUSB0, baud: 115200":                                   {Kind: transport.Serial, Device: "/dev/ttyUSB0", Baud: 115200},
		"kind: serial, device: COM3, baud: 9600, data_bits: 7, parity: even, stop_bits: 1.5": {Kind: transport.Serial, Device: "COM3", Baud: 9600, DataBits: 7, Parity: "even", StopBits: "1.5"},
		"kind: file, path: log.csv, follow: true":                                            {Kind: transport.File, Path: "log.csv", Follow: true},
		"kind: file":  {Kind: transport.File},
		"kind: stdin": {Kind: transport.Stdin},
	} {
		f, _ := parse(t, "transport: {"+text+"}\n"+tail)
		require.Equal(t, want, f.Transport, text)
	}
}

func TestMistakesOfTransports(t *testing.T) {
	for text, want := range map[string][]string{
		"kind: udp, listen: 1, path: x":                          {"1:41: transport udp has no path | listen, group, interface, from, largest"},
		"kind: udp, listn: 1":                                    {`1:24: transport has no "listn" | did you mean listen?`, "the address to listen on is missing | listen: 127"},
		"kind: udp, listen: 1, group: '239.1.1.1:1'":             {"1:32: group and listen exclude each other | take one"},
		"kind: udp, group: 239.1.1.1":                            {`1:31: "239.1.1.1" is not a multicast group`},
		"kind: udp, group: '10.1.1.1:5'":                         {"1:31: 10.1.1.1 is not a multicast address"},
		"kind: udp, listen: 1, interface: eth0, largest: 0":      {"1:46: only a group is joined on an interface | listen", "1:61: largest is a whole number from 1 to 65507"},
		"kind: udp, listen: 1, from: [a, 1.2.3.4/40, 1.1.1.1]":   {`1:42: "a" is not an address`, `1:45: "1.2.3.4/40" is not an address`},
		"kind: udp, listen: 1, from: []":                         {"1:41: from names nobody | take it out"},
		"kind: tcp":                                              {"1:12: the address is missing | connect: HOST:PORT"},
		"kind: tcp, listen: 1, connect: 'a:1'":                   {"1:32: connect and listen exclude each other"},
		"kind: tcp, connect: 5000, from: 1.1.1.1":                {`1:33: "5000" is not the address of a server`, "1:45: the sender is the one that connect names"},
		"kind: tcp, listen: 'host.example:1'":                    {`1:32: "host.example" is not an address of this machine`},
		"kind: serial, parity: odds, stop_bits: 3, data_bits: 9": {"1:12: the device is missing", "1:12: the baud rate is missing | baud: 115200", `1:35: parity cannot be "odds" | did you mean odd?`, `1:52: stop_bits cannot be "3"`, "1:66: data_bits is a whole number from 5 to 8"},
		"kind: serial, device: [], baud: fast":                   {"1:35: device is not a text", "1:45: baud is a whole number"},
		"kind: can":                                              {"1:12: the interface of the bus is missing | can0"},
		"kind: can, interface: can0":                             {"1:12: transport can brings the frames of a bus | codec: can"},
		"kind: file, follow: true":                               {"1:33: there is nothing to follow | path"},
		"kind: stdin, listen: 1":                                 {"1:34: transport stdin has no listen | take it out"},
		"kind: pigeon":                                           {`1:19: kind cannot be "pigeon" | udp, tcp, serial, can, file, stdin`},
	} {
		_, err := Parse("f", []byte("transport: {"+text+"}\n"+tail), channel.NewSet())
		all := document.Errors(err)
		for _, w := range want {
			msg, hint, _ := strings.Cut(w, " | ")
			found := false
			for _, e := range all {
				found = found || strings.Contains(e.Error(), msg) && strings.Contains(e.Hint, hint)
			}
			require.True(t, found, "%s: %s\nis not told; told is\n%v", text, w, err)
		}
		require.Len(t, all, len(want), "%s: %v", text, err)
	}
}

const framed = `transport: {kind: stdin}
codec: packet
packet:
  frame: {%s}
  kinds: {a: {when: [{at: 4, type: u8, is: 7}], fields: [{at: 5, type: u8, to: gear}]}}
`

func TestFrames(t *testing.T) {
	for text, want := range map[string]packet.Frame{
		"size: 12":               {Size: 12},
		"size: 12, start: B5 62": {Size: 12, Start: []byte{0xb5, 0x62}},
		"start: 0x7E, end: '0x0d 0x0a', largest: 99": {Start: []byte{0x7e}, End: []byte{13, 10}, Largest: 99},
		"end: 00": {End: []byte{0}},
		"start: aa55, length: {at: 2, type: u16, byte_order: big, counts: rest, extra: 2}": {Start: []byte{0xaa, 0x55}, Length: &packet.Length{At: 2, Type: packet.U16, Big: true, Rest: true, Extra: 2}},
		"length: {at: 0, type: u32, counts: all}":                                          {Length: &packet.Length{Type: packet.U32}},
	} {
		f, _ := parse(t, strings.Replace(framed, "%s", text, 1))
		require.Equal(t, want, *f.Frame, text)
	}
	for text, want := range map[string]string{
		"":                             "4:10: nothing tells where a packet ends | size: BYTES",
		"size: 3, end: 00":             "4:25: size and end exclude each other",
		"start: B5 6, size: 4":         "4:18: start is 1 to 16 bytes as pairs",
		"end: ''":                      "4:16: end is 1 to 16 bytes",
		"size: 1, start: B562":         "4:10: a packet of 1 bytes does not hold its start",
		"length: {at: 0, counts: all}": "4:19: the type is missing",
		"length: {at: 0, type: u8}":    "4:19: what the length counts is missing | counts: all",
		"length: {at: 0, type: f32, counts: all}": "4:10: a length is one of u8",
		"size: 3, marker: 1":                      `4:20: frame has no "marker"`,
	} {
		_, err := Parse("f", []byte(strings.Replace(framed, "%s", text, 1)), channel.NewSet())
		msg, hint, _ := strings.Cut(want, " | ")
		require.ErrorContains(t, err, msg, text)
		require.ErrorContains(t, err, hint, text)
		require.Len(t, document.Errors(err), 1, "%s: %v", text, err)
	}
}
