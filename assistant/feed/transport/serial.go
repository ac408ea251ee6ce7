package transport

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"go.bug.st/serial"
)

// The words of Spec.Parity and Spec.StopBits.
var (
	parities = map[string]serial.Parity{
		"": serial.NoParity, "none": serial.NoParity, "even": serial.EvenParity, "odd": serial.OddParity, "mark": serial.MarkParity, "space": serial.SpaceParity,
	}
	stopBits = map[string]serial.StopBits{"": serial.OneStopBit, "1": serial.OneStopBit, "1.5": serial.OnePointFiveStopBits, "2": serial.TwoStopBits}
)

func openSerial(ctx context.Context, s Spec) (Source, error) {
	what := s.String()
	m := &serial.Mode{BaudRate: s.Baud, DataBits: s.DataBits}
	if m.DataBits == 0 {
		m.DataBits = 8
	}
	var known [2]bool
	m.Parity, known[0] = parities[s.Parity]
	m.StopBits, known[1] = stopBits[s.StopBits]
	switch {
	case s.Device == "":
		return nil, &Error{What: what, Msg: "no device is given", Hint: "write device: /dev/ttyUSB0, or COM3 on Windows"}
	case s.Baud <= 0 || m.DataBits < 5 || m.DataBits > 8:
		return nil, &Error{What: what, Msg: fmt.Sprintf("%d baud with %d data bits is no setting of a serial line", s.Baud, m.DataBits), Hint: "as the maker of the source says, such as baud: 115200"}
	case !known[0] || !known[1]:
		return nil, &Error{What: what, Msg: fmt.Sprintf("parity %q or stop bits %q are unknown", s.Parity, s.StopBits), Hint: "parity is none, even, odd, mark or space; stop bits are 1, 1.5 or 2"}
	}
	return openDevice(ctx, s, func(context.Context) (conn, error) {
		p, err := serial.Open(s.Device, m)
		if err != nil {
			return nil, serialError(what, err)
		}
		return &serialConn{p, s.Device}, nil
	})
}

func serialError(what string, err error) error {
	e := &Error{What: what, Msg: cause(err), Err: err}
	var pe *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	switch {
	case code == serial.PortNotFound, errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENXIO), errors.Is(err, syscall.EIO):
		e.Msg, e.Err = "there is no such device; waiting for it", errAway
	case code == serial.PortBusy:
		e.Msg, e.Hint = "another program has the device", "end that program"
	case code == serial.PermissionDenied, errors.Is(err, fs.ErrPermission):
		e.Msg, e.Hint = "this user may not open the device", "on Linux add the user to the group that owns it, often dialout, and log in again"
	case code == serial.InvalidSerialPort, errors.Is(err, syscall.ENOTTY):
		e.Msg, e.Hint = "this is no serial device", "name the device, such as /dev/ttyUSB0 or COM3"
	case code == serial.InvalidSpeed, code == serial.InvalidDataBits, code == serial.InvalidParity, code == serial.InvalidStopBits:
		e.Msg, e.Hint = "the device cannot do this baud rate, data bits, parity or stop bits", "as the maker of the source says"
	}
	return e
}

type serialConn struct {
	serial.Port
	device string
}

func (c *serialConn) name() string { return c.device + " is open" }

func (c *serialConn) why(error) string { return c.device + " is gone; waiting for it" }
