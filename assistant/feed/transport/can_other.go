//go:build !linux

package transport

func dialCAN(name string) (conn, error) {
	return nil, &Error{What: "can " + name, Msg: "only Linux reads a CAN bus so", Hint: "record the bus as candump -L does and replay the file, or send its lines by udp or tcp"}
}
