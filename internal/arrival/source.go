package arrival

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"
	"time"

	"go.bug.st/serial"
)

// Source returns what opens the line that is named: tcp://HOST:PORT, or a serial
// port with its speed in bits a second, as in /dev/ttyUSB0:115200 or COM3:9600
// (eight data bits, no parity, one stop bit).
func Source(name string) (func(context.Context) (io.ReadCloser, error), error) {
	if address, isTCP := strings.CutPrefix(name, "tcp://"); isTCP {
		if _, port, err := net.SplitHostPort(address); err != nil || port == "" {
			return nil, fmt.Errorf("%q is not tcp://HOST:PORT", name)
		}
		return func(ctx context.Context) (io.ReadCloser, error) {
			dialer := net.Dialer{Timeout: 5 * time.Second}
			return dialer.DialContext(ctx, "tcp", address)
		}, nil
	}
	if strings.Contains(name, "://") {
		return nil, fmt.Errorf("%q is neither tcp://HOST:PORT nor a serial port", name)
	}
	colon := strings.LastIndexByte(name, ':')
	if colon <= 0 {
		return nil, fmt.Errorf("%q says no speed: write a serial port as in /dev/ttyUSB0:115200", name)
	}
	speed, err := strconv.Atoi(name[colon+1:])
	if err != nil || speed <= 0 {
		return nil, fmt.Errorf("%q is no speed in bits a second: write a serial port as in /dev/ttyUSB0:115200", name[colon+1:])
	}
	return func(context.Context) (io.ReadCloser, error) { return openSerial(name[:colon], speed) }, nil
}

func openSerial(port string, speed int) (io.ReadCloser, error) {
	p, err := serial.Open(port, &serial.Mode{BaudRate: speed})
	if err != nil {
		return nil, fmt.Errorf("serial port %s: %w", port, err)
	}
	return serialPort{p}, nil
}

// serialPort is a serial port whose end is an error, as io.Reader has it.
type serialPort struct{ serial.Port }

var errPortClosed = errors.New("the serial port is gone")

func (p serialPort) Read(into []byte) (int, error) {
	n, err := p.Port.Read(into)
	if n == 0 && err == nil {
		err = errPortClosed
	}
	return n, err
}
