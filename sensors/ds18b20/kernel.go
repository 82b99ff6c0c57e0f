package ds18b20

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"strconv"

	"proofpot/sensors"
	"proofpot/sensors/poll"
)

// KernelFolder is where Linux shows the parts of its 1-Wire buses.
const KernelFolder = "/sys/bus/w1/devices"

// KernelDevice is a part that the kernel's w1_therm reads. It is a poll.Device
// of one output, in °C.
type KernelDevice struct {
	files fs.FS
	name  string
}

// NewKernel makes the part of a name, "28-0316a2795cff". files is KernelFolder.
func NewKernel(files fs.FS, name string) (*KernelDevice, error) {
	if _, err := Address(name); err != nil {
		return nil, err
	}
	return &KernelDevice{files, name}, nil
}

// Start implements poll.Device: the part is there.
func (d *KernelDevice) Start(context.Context) error {
	_, err := fs.Stat(d.files, path.Join(d.name, "w1_slave"))
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the kernel sees no %s on its 1-Wire buses: look at its wires and pull-up, and whether w1-gpio and w1_therm are loaded", d.name)
	}
	return err
}

// Measure implements poll.Device. The kernel measures while the file is read,
// some 0.75 s.
func (d *KernelDevice) Measure(_ context.Context, results []poll.Result) error {
	text, err := fs.ReadFile(d.files, path.Join(d.name, "w1_slave"))
	if err != nil {
		return err
	}
	results[0], err = kernelText(text)
	return err
}

// The kernel's documentation, w1/slaves/w1_therm: nine bytes as they were read,
// their check byte and what the kernel thinks of it; then nine bytes again, and
// the temperature in 1/1000 °C. Where the check byte is wrong, the second line is
// of an earlier measurement.
var kernelLines = regexp.MustCompile(`^((?:[0-9a-f]{2} ){9}): crc=([0-9a-f]{2}) (YES|NO)\n((?:[0-9a-f]{2} ){9})t=(-?[0-9]{1,6})\n$`)

// kernelText reads a w1_slave file.
func kernelText(text []byte) (poll.Result, error) {
	if len(text) == 0 {
		return poll.Result{}, poll.Fault(sensors.Disconnected, "the kernel's file is empty: nobody answered on the bus")
	}
	m := kernelLines.FindSubmatch(text)
	if m == nil {
		return poll.Result{}, poll.Fault(sensors.Garbled, "%.60q is not what w1_therm writes, or only a part of it", text)
	}
	var pad [9]byte
	for i := range pad {
		_, _ = hex.Decode(pad[i:i+1], m[1][3*i:3*i+2]) // two digits, as the expression has it
	}
	r, err := celsius(pad)
	if err != nil || r.Kind != sensors.OK {
		return r, err
	}
	if string(m[3]) != "YES" || string(m[1]) != string(m[4]) || string(m[1][24:26]) != string(m[2]) {
		return poll.Result{}, poll.Fault(sensors.Garbled, "the kernel says that the check byte is wrong, or its two lines do not agree")
	}
	// The kernel cuts its 1/1000 °C off, and knows nothing of undefined bits.
	register := uint16(pad[1])<<8 | uint16(pad[0])
	if t, err := strconv.Atoi(string(m[5])); err != nil || float64(t)/1000-Celsius(register) > 0.001 || Celsius(register)-float64(t)/1000 > 0.001 {
		return poll.Result{}, poll.Fault(sensors.Garbled, "the kernel reads t=%s where the bytes say %.4f °C", m[5], Celsius(register))
	}
	return r, nil
}
