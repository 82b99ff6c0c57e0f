package gpiochip

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unsafe"

	"golang.org/x/sys/unix"
)

// Flags of a line, linux/gpio.h, enum gpio_v2_line_flag.
const (
	flagUsed      = 1 << 0
	flagActiveLow = 1 << 1
	flagInput     = 1 << 2
	flagOutput    = 1 << 3
	flagPullUp    = 1 << 8
	flagPullDown  = 1 << 9
	flagNoBias    = 1 << 10
)

var biasFlags = [...]uint64{AsIs: 0, PullUp: flagPullUp, PullDown: flagPullDown, NoBias: flagNoBias}

// List gives the chips there are, in order of their paths. A chip that may not
// be opened is passed over and told in the error.
func List() ([]Info, error) {
	paths, err := filepath.Glob("/dev/gpiochip*")
	if err != nil {
		return nil, err
	}
	var all []Info
	var errs []error
	for _, path := range paths {
		if st, err := os.Lstat(path); err != nil || st.Mode()&os.ModeSymlink != 0 {
			continue // another name of a chip that is listed
		}
		info, err := look(path)
		if err != nil {
			errs = append(errs, err)
			continue
		}
		all = append(all, info)
	}
	return all, errors.Join(errs...)
}

func look(path string) (Info, error) {
	f, err := openChip(path)
	if err != nil {
		return Info{}, err
	}
	defer f.Close()
	var c unix.GPIOChipInfo
	if err := call(int(f.Fd()), unix.GPIO_GET_CHIPINFO_IOCTL, unsafe.Pointer(&c)); err != nil {
		return Info{}, fmt.Errorf("GPIO chip %q: %w", path, err)
	}
	info := Info{Path: path, Name: text(c.Name[:]), Label: text(c.Label[:])}
	for i := range c.Lines {
		l := unix.GPIOV2LineInfo{Offset: i}
		if err := call(int(f.Fd()), unix.GPIO_V2_GET_LINEINFO_IOCTL, unsafe.Pointer(&l)); err != nil {
			return Info{}, fmt.Errorf("GPIO chip %q, line %d: %w", path, i, err)
		}
		info.Lines = append(info.Lines, LineInfo{Number: int(i), Name: text(l.Name[:]),
			Used: l.Flags&flagUsed != 0, Consumer: text(l.Consumer[:]), Output: l.Flags&flagOutput != 0})
	}
	return info, nil
}

func openChip(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|unix.O_CLOEXEC, 0)
	if errors.Is(err, os.ErrPermission) {
		return nil, fmt.Errorf("GPIO chip %q may not be opened by this user; the group that may is often called gpio (%w)", path, os.ErrPermission)
	}
	return f, err
}

// find looks for a chip by its label, its name or its path.
func find(chip string) (Info, error) {
	if strings.HasPrefix(chip, "/") {
		info, err := look(chip)
		if errors.Is(err, os.ErrNotExist) {
			return info, fmt.Errorf("GPIO chip %q %w", chip, ErrNotThere)
		}
		return info, err
	}
	all, err := List()
	var here []string
	var found []Info
	for _, c := range all {
		here = append(here, fmt.Sprintf("%s (%s)", c.Label, c.Name))
		if c.Label == chip || c.Name == chip {
			found = append(found, c)
		}
	}
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		return Info{}, fmt.Errorf("GPIO chip %q: %d chips are called so; give a path, %s", chip, len(found), found[0].Path)
	case err != nil:
		return Info{}, err
	case len(here) == 0:
		return Info{}, fmt.Errorf("GPIO chip %q %w; this computer shows none", chip, ErrNotThere)
	}
	return Info{}, fmt.Errorf("GPIO chip %q %w; there is %s", chip, ErrNotThere, strings.Join(here, ", "))
}

// offset finds a line of a chip by its name, or else by its number.
func (c Info) offset(line string) (uint32, error) {
	i := slices.IndexFunc(c.Lines, func(l LineInfo) bool { return l.Name == line })
	if i >= 0 {
		if slices.ContainsFunc(c.Lines[i+1:], func(l LineInfo) bool { return l.Name == line }) {
			return 0, fmt.Errorf("GPIO line %q of %s %w", line, c.Label, errAmbiguous)
		}
		return uint32(i), nil
	}
	if n, err := strconv.ParseUint(line, 10, 32); err == nil && n < uint64(len(c.Lines)) {
		return uint32(n), nil
	}
	return 0, fmt.Errorf("GPIO line %q of %s %w; it has %d lines, from number 0", line, c.Label, ErrNotThere, len(c.Lines))
}

// Lines are lines that this process holds. It may be used by several goroutines.
type Lines struct {
	mu   sync.Mutex
	fd   int // -1 once closed
	all  uint64
	what string
}

// Request asks the kernel for lines of a chip, which is named by its label, its
// name or its path. The error is one line and says what would be right.
func Request(chip string, c Config) (*Lines, error) {
	if len(c.Lines) == 0 || len(c.Lines) > MaxLines {
		return nil, fmt.Errorf("GPIO chip %q: %d lines asked for; 1 to %d can be", chip, len(c.Lines), MaxLines)
	}
	info, err := find(chip)
	if err != nil {
		return nil, err
	}
	what := fmt.Sprintf("GPIO line %q of %s", strings.Join(c.Lines, ", "), info.Label)
	var r unix.GPIOV2LineRequest
	for i, line := range c.Lines {
		if r.Offsets[i], err = info.offset(line); err != nil {
			return nil, err
		}
	}
	all := ^uint64(0) >> (64 - len(c.Lines))
	r.Num_lines = uint32(len(c.Lines))
	copy(r.Consumer[:len(r.Consumer)-1], c.Consumer)
	r.Config.Flags = flagInput | biasFlags[c.Bias]
	if c.Output {
		r.Config.Flags = flagOutput
		r.Config.Num_attrs = 1
		r.Config.Attrs[0].Attr = unix.GPIOV2LineAttribute{Id: unix.GPIO_V2_LINE_ATTR_ID_OUTPUT_VALUES, Flags: c.Initial}
		r.Config.Attrs[0].Mask = all
	}
	if c.ActiveLow {
		r.Config.Flags |= flagActiveLow
	}
	f, err := openChip(info.Path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	switch err := call(int(f.Fd()), unix.GPIO_V2_GET_LINE_IOCTL, unsafe.Pointer(&r)); {
	case errors.Is(err, unix.EBUSY):
		return nil, fmt.Errorf("%s %w%s; end that first", what, ErrInUse, info.holders(r.Offsets[:len(c.Lines)]))
	case errors.Is(err, unix.ENODEV):
		return nil, fmt.Errorf("%s %w any more", what, ErrNotThere)
	case err != nil:
		return nil, fmt.Errorf("%s cannot be had: %w", what, err)
	}
	return &Lines{fd: int(r.Fd), all: all, what: what}, nil
}

// holders names the programs that hold some of these lines.
func (c Info) holders(offsets []uint32) string {
	var names []string
	for _, o := range offsets {
		if l := c.Lines[o]; l.Used && !slices.Contains(names, l.Consumer) {
			names = append(names, l.Consumer)
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf(" (%s)", strings.Join(names, ", "))
}

// Get reads all lines at once, bit 0 for the first. Lines that are driven give
// what they are driven to, and stay driven.
func (l *Lines) Get() (uint64, error) {
	v := unix.GPIOV2LineValues{Mask: l.all}
	err := l.call(unix.GPIO_V2_LINE_GET_VALUES_IOCTL, &v)
	return v.Bits & l.all, err
}

// Set drives the lines of mask, all at once.
func (l *Lines) Set(bits, mask uint64) error {
	v := unix.GPIOV2LineValues{Bits: bits, Mask: mask & l.all}
	return l.call(unix.GPIO_V2_LINE_SET_VALUES_IOCTL, &v)
}

func (l *Lines) call(request uint, v *unix.GPIOV2LineValues) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fd < 0 {
		return fmt.Errorf("%s: %w", l.what, ErrClosed)
	}
	if err := call(l.fd, request, unsafe.Pointer(v)); err != nil {
		return fmt.Errorf("%s: %w", l.what, err)
	}
	return nil
}

// Close gives the lines back to the kernel. It may be called again.
func (l *Lines) Close() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.fd < 0 {
		return nil
	}
	err := unix.Close(l.fd)
	l.fd = -1
	return err
}

func call(fd int, request uint, p unsafe.Pointer) error {
	for {
		_, _, errno := unix.Syscall(unix.SYS_IOCTL, uintptr(fd), uintptr(request), uintptr(p))
		runtime.KeepAlive(p)
		if errno == 0 {
			return nil
		}
		if errno != unix.EINTR {
			return errno
		}
	}
}

func text(b []byte) string { return strings.TrimRight(string(b), "\x00") }
