package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"earshot/assistant/assembly"
	"earshot/assistant/channel"
	"earshot/assistant/feed/feedfile"
	"earshot/assistant/feed/probe"
	"earshot/assistant/feed/transport"
)

// probeFlags are how probe was called.
type probeFlags struct {
	udp, write    string
	seconds       float64
	force, asJSON bool
}

func newProbe() *cobra.Command {
	var p probeFlags
	c := &cobra.Command{
		Use:   "probe [FILE ...]",
		Short: "listen to a source for a while and show what is there",
		Long: `Probe listens and says what comes.

With a feed file it shows rate, gaps and losses; for each channel its range and how much of it is absent, implausible
or frozen; which rules are on; and which units, signs and mountings cannot be right, each with its evidence, the line
of the feed file and what to write there. FILE is read in place of the source; of several sources, NAME=FILE each. A
recording (.mcap) brings its own feed file.

Without a feed file it shows what the bytes look like. Of binary datagrams to --udp ADDRESS it shows the fields that
move as measured values do, with their values while you drive. Of text in a FILE (- is the standard input) or to --udp
it shows kind, columns and ranges. --write begins a feed file from that.`,
		Example: "  earshot probe --feed myfeed.yaml --seconds 60\n  earshot probe --feed myfeed.yaml " +
			"drive.csv.gz\n  earshot probe --udp 127.0.0.1:40404 --seconds 120 --write myfeed.yaml\n  earshot probe " +
			"drive.csv --write myfeed.yaml",
		Args: cobra.ArbitraryArgs, // how many there may be depends on the feed
	}
	addFileFlags(c)
	c.Flags().StringVar(&p.udp, "udp", "", "listen for what is not described yet on this address, such as "+
		"127.0.0.1:40404")
	c.Flags().Float64Var(&p.seconds, "seconds", 10, "how long to listen")
	c.Flags().StringVar(&p.write, "write", "", "begin a feed file from what an undescribed source sends")
	c.Flags().BoolVar(&p.force, "force", false, "let --write replace a file")
	c.Flags().BoolVar(&p.asJSON, "json", false, "for programs")
	c.RunE = configured(func(c *cobra.Command, r assembly.Request, args []string) error {
		if !(p.seconds > 0 && p.seconds <= 86400) {
			return usage(c, "--seconds %g: write a number above 0 and up to 86400", p.seconds)
		}
		described := c.Flags().Changed("feed") || p.udp == "" && len(args) == 0
		switch {
		case p.udp != "" && len(args) > 0:
			return usage(c, "--udp and a file are two sources: give one of them")
		case p.udp != "" && c.Flags().Changed("feed"):
			return usage(c, "--udp is for a source without a feed file: with --feed the address is the one in it")
		case p.write != "" && described:
			return usage(c, "--write is for a source that has no feed file yet: use it with --udp or a file, and "+
				"without --feed")
		}
		if p.write != "" && !p.force {
			if _, err := os.Lstat(p.write); !errors.Is(err, fs.ErrNotExist) {
				return fmt.Errorf("%s is there already: give --write another name, or --force to replace it", p.write)
			}
		}
		if len(args) > 0 && strings.HasSuffix(args[0], ".mcap") {
			if p.write != "" {
				return usage(c, "--write is for a source that has no feed file yet, and a recording brings its own")
			}
			return probeRecording(c, r, p, args[0])
		}
		if !described && len(args) > 1 {
			return usage(c, "%d files: several are for a feed of several sources, so --feed is needed", len(args))
		}
		if described {
			return probeFeed(c, r, p, args)
		}
		return probeUnknown(c, p, args)
	})
	return c
}

// probeFeed measures a source that a feed file describes.
func probeFeed(c *cobra.Command, r assembly.Request, p probeFlags, args []string) error {
	r.Reference, r.Bests = "", assembly.None // it measures a source and no laps
	parts, err := assembly.Build(r)
	if err != nil {
		return err
	}
	live := len(args) == 0 && parts.Live()
	found, err := parts.Listen(c.Context(), args, time.Duration(p.seconds*float64(time.Second)),
		progress(c, p, live, func() string { return "" }))
	switch {
	case err != nil:
		return err
	case found.Counts.Records == 0:
		return nothingCame(found, live, parts.Feed)
	}
	return tellListened(c, found, p.asJSON)
}

// probeRecording measures a recording with the files in it.
func probeRecording(c *cobra.Command, r assembly.Request, p probeFlags, path string) error {
	d, err := assembly.Open(c.Context(), r, []string{path})
	if err != nil {
		return err
	}
	defer d.Close()
	found, err := d.Listen()
	switch {
	case err != nil:
		return err
	case found.Counts.Records == 0:
		return fmt.Errorf("%s: no sample is in it", path)
	}
	return tellListened(c, found, p.asJSON)
}

// tellListened writes what was measured.
func tellListened(c *cobra.Command, found assembly.Listened, asJSON bool) error {
	var err error
	if asJSON {
		err = writeJSON(c.OutOrStdout(), found)
	} else {
		printListened(c.OutOrStdout(), found)
	}
	if err == nil && found.Measured.Samples == 0 {
		err = fmt.Errorf("%s: %d %ss came and the feed file takes none of them: %s",
			found.Source, found.Counts.Records, found.Counts.Record,
			cmp.Or(found.Counts.LastBad, "none has a mapped reading"))
	}
	return err
}

// heardOut makes the end of listening no error.
func heardOut(ctx context.Context, err error) error {
	if errors.Is(err, io.EOF) || ctx.Err() != nil {
		return nil
	}
	return err
}

// progress returns what prints a line a second while a live source is listened to; more adds to it.
func progress(c *cobra.Command, p probeFlags, live bool, more func() string) func(int64) {
	begin := time.Now()
	next := begin.Add(time.Second)
	return func(n int64) {
		now := time.Now()
		if !live || p.asJSON || now.Before(next) {
			return
		}
		next = now.Add(time.Second)
		fmt.Fprintf(c.ErrOrStderr(), "%4.0f s: %d came%s\n", now.Sub(begin).Seconds(), n, more())
	}
}

// nothingCame says what to check when nothing came.
func nothingCame(found assembly.Listened, live bool, f *feedfile.File) error {
	source := found.Source
	if !live {
		return fmt.Errorf("%s: nothing is in it", source)
	}
	switch s := found.Counts; {
	case s.Foreign > 0:
		return fmt.Errorf("%s: all of %d came from senders that the feed file does not name\n\thint: put the "+
			"sender's address into from:, or take from: out", source, s.Foreign)
	case s.Oversized > 0:
		return fmt.Errorf("%s: all of %d datagrams were larger than the feed file allows\n\thint: raise largest:, "+
			"or take it out", source, s.Oversized)
	}
	hint := "is the device plugged in and sending, and is this its name and speed?"
	if f == nil || f.Sources()[0].Transport.Kind == transport.UDP {
		listen := strings.TrimPrefix(source, "udp ")
		if f != nil {
			listen = f.Sources()[0].Transport.Listen
		}
		host, port, _ := net.SplitHostPort(listen)
		hint = "does the source send UDP, is that switched on in it, and does it send to port " + port +
			" of this machine?"
		if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() {
			hint += "\n\thint: " + listen + " hears this machine only: for a source on another machine listen on " +
				"0.0.0.0:" + port + " and give it this machine's address"
		}
		hint += "\n\thint: a firewall may hold the datagrams back: allow UDP to port " + port
		hint += "\n\thint: some sources send only while a car is driven"
	}
	return fmt.Errorf("%s: nothing arrived within %g s\n\thint: %s", source, found.Listened, hint)
}

// unknown is a source without a feed file, as it is written with --json.
type unknown struct {
	Source  string             `json:"source"`
	Pieces  int64              `json:"datagrams"`
	Bytes   int64              `json:"bytes"`
	Text    *probe.Description `json:"text,omitempty"`
	Layout  *probe.Layout      `json:"layout,omitempty"`
	Written string             `json:"written,omitempty"`
}

// probeUnknown looks at a source that nothing describes.
func probeUnknown(c *cobra.Command, p probeFlags, args []string) error {
	spec := transport.Spec{Kind: transport.UDP, Listen: p.udp}
	origin := probe.Origin{Name: "my-feed"}
	switch {
	case len(args) > 0 && args[0] == "-":
		spec = transport.Spec{Kind: transport.Stdin}
		origin.Path = "drive.log"
	case len(args) > 0:
		spec = transport.Spec{Kind: transport.File, Path: args[0]}
		origin.Path = args[0]
	default:
		addr, err := transport.Addr(p.udp)
		if err != nil {
			return usage(c, "--udp: %v", err)
		}
		spec.Listen, origin.UDP = addr, addr
	}
	ctx := c.Context()
	live := spec.Live()
	if live {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, time.Duration(p.seconds*float64(time.Second)))
		defer stop()
	}
	source, err := transport.Open(ctx, spec)
	if err != nil {
		return err
	}
	defer source.Close()
	var sniffer probe.Sniffer
	tell := progress(c, p, spec.Kind == transport.UDP, func() string { return values(&sniffer) })
	for {
		b, arrived, err := source.Next(ctx)
		switch {
		case len(b) == 0:
		case spec.Datagrams():
			sniffer.Datagram(b, arrived)
			tell(sniffer.Datagrams())
		default:
			sniffer.Stream(b)
		}
		if err != nil {
			if err = heardOut(ctx, err); err != nil {
				return err
			}
			break
		}
	}
	found := unknown{Source: spec.String(), Pieces: sniffer.Datagrams(), Bytes: sniffer.Bytes()}
	if found.Bytes == 0 {
		return nothingCame(assembly.Listened{Source: found.Source, Listened: p.seconds}, live, nil)
	}
	if sniffer.IsText() {
		d := sniffer.Describe()
		found.Text = &d
	} else if spec.Datagrams() {
		l := sniffer.Layout()
		found.Layout = &l
	} else {
		return fmt.Errorf("%s is binary, and a file does not show where one datagram ends and the next "+
			"begins\n\thint: let the source send to this machine and use --udp, or export its log as a table of text",
			found.Source)
	}
	var text []byte
	if p.write != "" {
		if text, err = sniffer.FeedFile(origin); err != nil {
			return fmt.Errorf("%s: %w; nothing was written: listen longer while the car drives", found.Source, err)
		}
		if _, err := feedfile.Parse(p.write, text, channel.NewSet()); err != nil {
			return err
		}
		if err := writeNew(p.write, text, p.force); err != nil {
			return err
		}
		found.Written = p.write
	}
	if p.asJSON {
		return writeJSON(c.OutOrStdout(), found)
	}
	found.print(c.OutOrStdout())
	return nil
}

// writeNew writes a file. It replaces an existing one only with force.
func writeNew(path string, data []byte, force bool) error {
	how := os.O_WRONLY | os.O_CREATE | os.O_EXCL
	if force {
		how = os.O_WRONLY | os.O_CREATE | os.O_TRUNC
	}
	f, err := os.OpenFile(path, how, 0o666)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already: give --write another name, or --force to replace it", path)
	}
	if err != nil {
		return fmt.Errorf("the feed file: %w", err)
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("the feed file: %w", err)
	}
	return nil
}
