// Package fileline lets the lines that another logger writes be read as if they
// came over a serial port: from a file that grows, a named pipe (FIFO), or standard
// input. serialline reads them; every shape of a line is possible, line protocol
// among them.
//
// A file is read from its end on: what stands in it is the past. A file that was
// cut, or replaced by another of its name, counts as a port that was lost, and is
// opened again. A pipe waits for its writer, and for the next one. Standard input
// that ends is lost for good.
package fileline

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"time"
)

// StandardInput is the path that stands for standard input.
const StandardInput = "-"

const waits = 50 * time.Millisecond

// ErrReplaced is the error of a file that was cut, replaced or taken away.
var ErrReplaced = errors.New("the file was cut or replaced")

// Port is an open file, pipe or standard input. It is a serialline.Port.
type Port struct {
	file *os.File
	path string
	pipe bool
	info fs.FileInfo
	at   int64         // of a file, what has been read
	wait time.Duration // where nothing has come
}

// Open opens a file, a pipe or standard input. The error is one line.
func Open(path string) (*Port, error) {
	if path == StandardInput {
		return openInput()
	}
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("file %q is not there; start the other logger first, or make a pipe with mkfifo (%w)", path, fs.ErrNotExist)
	}
	if err != nil {
		return nil, err
	}
	p := &Port{wait: waits, path: path, pipe: info.Mode()&fs.ModeNamedPipe != 0}
	if !p.pipe && !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%q is neither a file nor a pipe", path)
	}
	if p.file, err = openWithoutWaiting(path); err != nil {
		return nil, err
	}
	if p.info, err = p.file.Stat(); err == nil && !p.pipe {
		p.at, err = p.file.Seek(0, io.SeekEnd)
	}
	if err != nil {
		return nil, errors.Join(err, p.file.Close())
	}
	return p, nil
}

// Read gives what has come; os.ErrDeadlineExceeded where that is nothing.
func (p *Port) Read(b []byte) (int, error) {
	if p.pipe {
		if err := p.file.SetReadDeadline(time.Now().Add(p.wait)); err != nil {
			return 0, err
		}
	}
	n, err := p.file.Read(b)
	p.at += int64(n)
	if n > 0 || err != nil && !errors.Is(err, io.EOF) {
		return n, err
	}
	if p.path == StandardInput {
		return 0, io.EOF
	}
	time.Sleep(p.wait)
	if !p.pipe {
		now, err := os.Stat(p.path)
		if err != nil || !os.SameFile(now, p.info) || now.Size() < p.at {
			return 0, ErrReplaced
		}
	}
	return 0, os.ErrDeadlineExceeded
}

// Close closes it.
func (p *Port) Close() error { return p.file.Close() }
