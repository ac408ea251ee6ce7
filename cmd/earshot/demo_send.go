package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
)

// destinations reads the lists of --send and --as.
func destinations(c *cobra.Command, send, as string) ([]assembly.Destination, error) {
	tos, forms := strings.Split(send, ","), strings.Split(as, ",")
	if len(forms) == 1 {
		forms = slices.Repeat(forms, len(tos))
	}
	if len(forms) != len(tos) {
		return nil, usage(c, "--send has %d places and --as %d forms: give one form for all, or one for each place "+
			"in the same order", len(tos), len(forms))
	}
	var list []assembly.Destination
	for i := range tos {
		d := assembly.Destination{To: strings.TrimSpace(tos[i]), As: strings.TrimSpace(forms[i]), Scheme: "udp"}
		if !slices.Contains(assembly.SendForms, d.As) {
			return nil, usage(c, "--as %s: write one of %s", d.As, strings.Join(assembly.SendForms, ", "))
		}
		if path, ok := strings.CutPrefix(d.To, "file:"); ok {
			d.Scheme, d.Address = "file", strings.TrimPrefix(path, "//")
		} else if scheme, rest, ok := strings.Cut(d.To, "://"); ok {
			d.Scheme, d.Address = scheme, strings.TrimSuffix(rest, "/")
		} else {
			d.Address = d.To
		}
		switch {
		case !slices.Contains([]string{"udp", "tcp", "file"}, d.Scheme) || d.Address == "":
			return nil, usage(c, "--send %s: write udp://HOST:PORT, tcp://HOST:PORT or file:PATH", d.To)
		case d.As == assembly.AsPacket && d.Scheme != "udp":
			return nil, usage(c, "--send %s: packets are sent by udp only, since nothing in a stream would tell "+
				"where one ends: write --as json, nmea, can or csv", d.To)
		case d.As == assembly.AsCSV && d.Scheme == "udp":
			return nil, usage(c, "--send %s: a table begins with its header, which one who listens later would "+
				"miss: send it to a file:PATH or tcp://HOST:PORT", d.To)
		}
		list = append(list, d)
	}
	return list, nil
}
