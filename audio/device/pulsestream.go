package device

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"github.com/jfreymuth/pulse/proto"

	"earshot/audio"
)

// A stream is one connection with one playback stream.
type stream struct {
	conn  net.Conn
	c     *proto.Client
	index uint32
	want  atomic.Int64  // bytes that the server has asked for
	asked chan struct{} // after want has grown
	lost  chan error
	bytes [4 * 2048]byte
}

const writeLimit = time.Second

// errNoServer says what to do about it.
var errNoServer = errors.New("no sound server answers: set PULSE_SERVER or start one in this login session")

// connect makes a running stream.
func connect(ctx context.Context) (*stream, error) {
	var errs []error
	for _, a := range addresses() {
		s, err := dial(ctx, a)
		if err == nil {
			return s, nil
		}
		errs = append(errs, err)
	}
	return nil, errors.Join(append([]error{errNoServer}, errs...)...)
}

// An address is where a server may listen.
type address struct{ network, at string }

// addresses reads PULSE_SERVER, a list of {host}unix:path, a path, or tcp:host:port;
// without it, the socket of the login session.
func addresses() []address {
	if list := strings.Fields(os.Getenv("PULSE_SERVER")); len(list) > 0 {
		var out []address
		host, _ := os.Hostname()
		for _, s := range list {
			if rest, ok := strings.CutPrefix(s, "{"); ok {
				on, at, ok := strings.Cut(rest, "}")
				if !ok || on != host {
					continue
				}
				s = at
			}
			network, at, ok := strings.Cut(s, ":")
			switch {
			case strings.HasPrefix(s, "/"):
				out = append(out, address{"unix", s})
			case ok && network == "unix":
				out = append(out, address{"unix", at})
			case ok && (network == "tcp" || network == "tcp4" || network == "tcp6"):
				if _, _, err := net.SplitHostPort(at); err != nil {
					at = net.JoinHostPort(at, "4713") // the port that the server's module takes by default
				}
				out = append(out, address{network, at})
			}
		}
		return out
	}
	var out []address
	for _, dir := range []string{os.Getenv("PULSE_RUNTIME_PATH"), filepath.Join(os.Getenv("XDG_RUNTIME_DIR"), "pulse"),
		"/run/user/" + strconv.Itoa(os.Getuid()) + "/pulse"} {
		if filepath.IsAbs(dir) {
			out = append(out, address{"unix", filepath.Join(dir, "native")})
		}
	}
	return out
}

func dial(ctx context.Context, a address) (*stream, error) {
	conn, err := (&net.Dialer{}).DialContext(ctx, a.network, a.at)
	if err != nil {
		return nil, err
	}
	s := &stream{conn: conn, c: &proto.Client{}, index: proto.Undefined, asked: make(chan struct{}, 1),
		lost: make(chan error, 1)}
	s.c.Callback = s.event
	s.c.SetTimeout(openLimit)
	// Requests have their own time limit, but a cancelled opening must end at once.
	stop := context.AfterFunc(ctx, func() { conn.Close() })
	s.c.Open(link{conn})
	err = s.create()
	if !stop() && err == nil {
		err = context.Cause(ctx)
	}
	if err != nil {
		s.close()
		return nil, fmt.Errorf("%s: %w", a.at, err)
	}
	return s, nil
}

// link limits the time of a write, and turns every way in which a connection can
// break into the one that the protocol's reader passes on.
type link struct{ net.Conn }

func (l link) Read(p []byte) (int, error) {
	n, err := l.Conn.Read(p)
	if err != nil {
		err = io.EOF
	}
	return n, err
}

func (l link) Write(p []byte) (int, error) {
	if err := l.SetWriteDeadline(time.Now().Add(writeLimit)); err != nil {
		return 0, err
	}
	n, err := l.Conn.Write(p)
	if err != nil {
		l.Close() // a torn packet cannot be mended
	}
	return n, err
}

func (s *stream) create() error {
	cookie, err := os.ReadFile(cookieFile())
	if err != nil {
		cookie = make([]byte, 256) // enough where the server lets anyone in
	}
	var auth proto.AuthReply
	if err := s.c.Request(&proto.Auth{Version: s.c.Version(), Cookie: cookie}, &auth); err != nil {
		return err
	}
	s.c.SetVersion(auth.Version)
	props := proto.PropList{
		"application.name":           proto.PropListString("Earshot"),
		"application.process.id":     proto.PropListString(strconv.Itoa(os.Getpid())),
		"application.process.binary": proto.PropListString(filepath.Base(os.Args[0])),
		"media.name":                 proto.PropListString("voice"),
		"media.role":                 proto.PropListString("phone"), // other sound makes room, where the user has set that up
	}
	if err := s.c.Request(&proto.SetClientName{Props: props}, &proto.SetClientNameReply{}); err != nil {
		return err
	}
	length := uint32(pulseBuffer.Seconds()*cardRate) * 4
	var reply proto.CreatePlaybackStreamReply
	err = s.c.Request(&proto.CreatePlaybackStream{
		SampleSpec:            proto.SampleSpec{Format: proto.FormatFloat32LE, Channels: 1, Rate: cardRate},
		ChannelMap:            proto.ChannelMap{proto.ChannelMono},
		SinkIndex:             proto.Undefined,
		BufferMaxLength:       2 * length,
		BufferTargetLength:    length,
		BufferPrebufferLength: 0, // a gap in the sound shall not stop the stream
		BufferMinimumRequest:  proto.Undefined,
		ChannelVolumes:        proto.ChannelVolumes{0x10000},
		AdjustLatency:         true,
		Properties:            props,
	}, &reply)
	if err != nil {
		return err
	}
	s.index = reply.StreamIndex
	// The first wish is in the reply; it may be answered late without harm.
	s.want.Add(int64(reply.Missing))
	s.poke()
	return nil
}

func cookieFile() string {
	if f := os.Getenv("PULSE_COOKIE"); f != "" {
		return f
	}
	if dir, err := os.UserConfigDir(); err == nil {
		return filepath.Join(dir, "pulse", "cookie")
	}
	return ""
}

// event runs on the protocol's reader and must not wait.
func (s *stream) event(message any) {
	switch m := message.(type) {
	case *proto.Request:
		s.want.Add(int64(m.Length))
		s.poke()
	case *proto.ConnectionClosed:
		s.lose(errors.New("the sound server has gone"))
	case *proto.PlaybackStreamKilled:
		s.lose(errors.New("the sound server has taken the stream away"))
	}
}

func (s *stream) poke() {
	select {
	case s.asked <- struct{}{}:
	default:
	}
}

func (s *stream) lose(err error) {
	select {
	case s.lost <- err:
	default:
	}
}

// feed sends as much sound as the server has asked for.
func (s *stream) feed(m *audio.Mixer) error {
	frames := int(s.want.Load() / 4)
	s.want.Add(-4 * int64(frames))
	for frames > 0 {
		n, _ := m.Read(s.bytes[:min(4*frames, len(s.bytes))]) // it never fails
		if err := s.c.Send(s.index, s.bytes[:n]); err != nil {
			return err
		}
		frames -= n / 4
	}
	return nil
}

// cork halts the stream or lets it go on. What is in the server's buffer stays.
func (s *stream) cork(on bool) error {
	if err := s.c.Request(&proto.CorkPlaybackStream{StreamIndex: s.index, Corked: on}, nil); err != nil {
		return fmt.Errorf("halting or resuming the stream: %w", err)
	}
	return nil
}

func (s *stream) close() { s.conn.Close() }
