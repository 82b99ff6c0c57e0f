package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/klauspost/compress/zstd"
)

// CompressedFile holds the readings of a finished record as one zstd file, which
// `zstd -d` and many other tools open. The chain is over the bytes before.
const CompressedFile = ReadingsFile + ".zst"

// openReadings opens the readings of a record, compressed or not. Where both
// lie there, the plain ones count.
func openReadings(folder string) (io.ReadCloser, error) {
	f, err := os.Open(filepath.Join(folder, ReadingsFile))
	if !errors.Is(err, fs.ErrNotExist) {
		return f, err
	}
	z, zerr := os.Open(filepath.Join(folder, CompressedFile))
	if zerr != nil {
		return nil, err // the plain ones are what is missing
	}
	return Unzip(z)
}

// OpenReadings opens the bytes of a record's readings, as they were before any compression.
func OpenReadings(folder string) (io.ReadCloser, error) { return openReadings(folder) }

// unzipped is a compressed file and what comes out of it.
type unzipped struct {
	io.ReadCloser
	file *os.File
}

// Unzip gives what a compressed file holds, and closes it with itself.
func Unzip(f *os.File) (io.ReadCloser, error) {
	d, err := zstd.NewReader(f, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(64<<20))
	if err != nil {
		f.Close()
		return nil, err
	}
	return unzipped{d.IOReadCloser(), f}, nil
}

func (u unzipped) Close() error { return errors.Join(u.ReadCloser.Close(), u.file.Close()) }

// Compressed says what Compress did.
type Compressed struct {
	Before, After int64 // bytes
	Removed       bool  // the plain readings
}

// Compress writes readings.lp.zst beside the readings of a record whose run has
// ended, reads it back and compares every byte. Only with remove, and only when
// all is equal, are the plain readings taken away.
func Compress(folder string, remove bool) (Compressed, error) {
	var c Compressed
	name := filepath.Join(folder, ReadingsFile)
	f, err := os.OpenFile(name, os.O_RDWR, 0) // for the lock; nothing is written
	if errors.Is(err, fs.ErrPermission) {
		f, err = os.Open(name)
	}
	if err != nil {
		return c, fmt.Errorf("%s: %w", folder, err)
	}
	defer f.Close()
	if err := lock(f); err != nil {
		return c, fmt.Errorf("%s: its run is under way", folder)
	}
	if err := ended(f); err != nil {
		return c, fmt.Errorf("%s: %w", folder, err)
	}
	info, err := f.Stat()
	if err != nil {
		return c, err
	}
	c.Before = info.Size()
	out := filepath.Join(folder, CompressedFile)
	if _, err := os.Lstat(out); errors.Is(err, fs.ErrNotExist) {
		if err := compressTo(out, f); err != nil {
			return c, fmt.Errorf("%s: %w", folder, err)
		}
	}
	z, err := os.Open(out)
	if err != nil {
		return c, err
	}
	if info, err = z.Stat(); err != nil {
		z.Close()
		return c, err
	}
	c.After = info.Size()
	u, err := Unzip(z)
	if err != nil {
		return c, err
	}
	defer u.Close()
	if err := equal(io.NewSectionReader(f, 0, c.Before), u); err != nil {
		return c, fmt.Errorf("%s does not give back %s: %w; nothing was removed", out, ReadingsFile, err)
	}
	if remove {
		if err := os.Remove(name); err != nil {
			return c, err
		}
		c.Removed = true
	}
	return c, syncDir(folder)
}

// ended says what speaks against a record's run having ended.
func ended(f io.ReaderAt) error {
	r := NewReader(io.NewSectionReader(f, 0, 1<<62))
	var l Line
	end := false
	for {
		err := r.Next(&l)
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		if l.Measurement == RunEvent {
			end = l.Event == "end" || l.Event == "abort"
		}
	}
	in := r.Integrity()
	switch {
	case in.TornBytes > 0 || !end:
		return errors.New("its run has not ended, or was cut off: it may still be resumed, so it stays as it is")
	case !in.Intact:
		return fmt.Errorf("it is not intact (%s), so it stays as it is", in.Problems[0])
	}
	return nil
}

func compressTo(out string, f io.ReaderAt) error {
	temp, err := os.CreateTemp(filepath.Dir(out), "."+CompressedFile+".*")
	if err != nil {
		return err
	}
	defer os.Remove(temp.Name())
	w, err := zstd.NewWriter(temp, zstd.WithEncoderLevel(zstd.SpeedBetterCompression), zstd.WithEncoderConcurrency(1), zstd.WithEncoderCRC(true))
	if err == nil {
		_, err = io.Copy(w, io.NewSectionReader(f, 0, 1<<62))
		err = errors.Join(err, w.Close())
	}
	if err == nil {
		err = temp.Chmod(0o444)
	}
	if err == nil {
		err = temp.Sync()
	}
	if err = errors.Join(err, temp.Close()); err != nil {
		return err
	}
	return os.Rename(temp.Name(), out)
}

// equal compares two streams to their ends.
func equal(a, b io.Reader) error {
	x, y := make([]byte, 64<<10), make([]byte, 64<<10)
	for at := int64(0); ; {
		n, errA := io.ReadFull(a, x)
		m, errB := io.ReadFull(b, y)
		if n != m || !bytes.Equal(x[:n], y[:m]) {
			return fmt.Errorf("they differ behind byte %d", at)
		}
		at += int64(n)
		endA, endB := errA == io.EOF || errA == io.ErrUnexpectedEOF, errB == io.EOF || errB == io.ErrUnexpectedEOF
		switch {
		case endA && endB:
			return nil
		case errA != nil && !endA:
			return errA
		case errB != nil && !endB:
			return errB
		}
	}
}
