package traffic

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"sync"
	"time"

	"periph.io/x/conn/v3/conntest"
	"periph.io/x/conn/v3/i2c/i2ctest"
	"periph.io/x/conn/v3/onewire/onewiretest"
)

// I2C gives the transfers of an I2C bus that went well, for i2ctest.Playback.
func I2C(all []Transfer, name string) []i2ctest.IO {
	var ops []i2ctest.IO
	for _, t := range all {
		if t.Bus == "i2c" && t.Name == name && t.Fail == "" {
			ops = append(ops, i2ctest.IO{Addr: t.Addr, W: t.Written, R: t.Read})
		}
	}
	return ops
}

// OneWire gives the transfers of a 1-Wire bus that went well, for
// onewiretest.Playback.
func OneWire(all []Transfer, name string) []onewiretest.IO {
	var ops []onewiretest.IO
	for _, t := range all {
		if t.Bus == "onewire" && t.Name == name && t.Fail == "" {
			ops = append(ops, onewiretest.IO{W: t.Written, R: t.Read})
		}
	}
	return ops
}

// SPI gives the transfers of a place on SPI that went well, for
// spitest.Playback.
func SPI(all []Transfer, name string) []conntest.IO {
	var ops []conntest.IO
	for _, t := range all {
		if t.Bus == "spi" && t.Name == name && t.Fail == "" {
			ops = append(ops, conntest.IO{W: t.Written, R: t.Read})
		}
	}
	return ops
}

// Files makes the kernel's files of those that were read: each read of a file
// gives what the next one gave.
func Files(all []Transfer) fs.FS {
	f := &playedFiles{}
	for _, t := range all {
		if t.Bus == "file" {
			f.todo = append(f.todo, t)
		}
	}
	return f
}

type playedFiles struct {
	mu   sync.Mutex
	todo []Transfer
}

// Open implements fs.FS; a file is read by ReadFile, and seen to be there by Stat.
func (f *playedFiles) Open(name string) (fs.File, error) {
	return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrInvalid}
}

// Stat implements fs.StatFS.
func (f *playedFiles) Stat(name string) (fs.FileInfo, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if !slices.ContainsFunc(f.todo, func(t Transfer) bool { return t.Name == name }) {
		return nil, &fs.PathError{Op: "stat", Path: name, Err: fs.ErrNotExist}
	}
	return nil, nil
}

// ReadFile implements fs.ReadFileFS.
func (f *playedFiles) ReadFile(name string) ([]byte, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	i := slices.IndexFunc(f.todo, func(t Transfer) bool { return t.Name == name })
	if i < 0 {
		return nil, &fs.PathError{Op: "read", Path: name, Err: fs.ErrNotExist}
	}
	t := f.todo[i]
	f.todo = slices.Delete(f.todo, i, i+1)
	if t.Fail != "" {
		return nil, errors.New(t.Fail)
	}
	return t.Read, nil
}

// Player is a serial port that does again what a recorded one did.
type Player struct {
	mu    sync.Mutex
	todo  []Transfer
	reach func(at time.Duration)
}

// Play makes the player of a port. reach, which may be nil, is called with the
// time of each read before it is given.
func Play(all []Transfer, name string, reach func(at time.Duration)) *Player {
	p := &Player{reach: reach}
	for _, t := range all {
		if t.Bus == "serial" && t.Name == name {
			p.todo = append(p.todo, t)
		}
	}
	return p
}

// Read gives the next bytes that were read; what was written between is waited
// for. After the last it finds nothing.
func (p *Player) Read(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.todo) == 0 || p.todo[0].Written != nil {
		return 0, os.ErrDeadlineExceeded
	}
	t := &p.todo[0]
	if p.reach != nil {
		p.reach(t.At)
	}
	if t.Fail != "" {
		p.todo = p.todo[1:]
		return 0, errors.New(t.Fail)
	}
	n := copy(b, t.Read)
	if t.Read = t.Read[n:]; len(t.Read) == 0 {
		p.todo = p.todo[1:]
	}
	return n, nil
}

// Write expects what was written, after all that was read before it.
func (p *Player) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.todo) == 0 || string(p.todo[0].Written) != string(b) {
		return 0, fmt.Errorf("% x is written; that is not what was recorded", b)
	}
	p.todo = p.todo[1:]
	return len(b), nil
}

// Left is how many transfers have not been played.
func (p *Player) Left() int { p.mu.Lock(); defer p.mu.Unlock(); return len(p.todo) }

// Flush does nothing.
func (p *Player) Flush() error { return nil }

// Close does nothing.
func (p *Player) Close() error { return nil }
