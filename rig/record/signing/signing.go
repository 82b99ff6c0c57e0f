// Package signing signs files with a key of the bench, in the open format of
// minisign, so that anyone can check them with that public tool:
//
//	minisign -Vm FILE -p bench.pub
//
// A signature stands beside its file, FILE.minisig. The secret key is a file
// that only its owner may read, with or without a password; the public key lies
// beside it, .pub, and is what is handed out.
package signing

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"aead.dev/minisign"
)

// Suffix is that of a signature's file.
const Suffix = ".minisig"

// Key is a key that signs.
type Key struct {
	private minisign.PrivateKey
	File    string
}

// ID is the key's number as minisign prints it.
func (k Key) ID() string { return id(k.private.ID()) }

func id(n uint64) string { return fmt.Sprintf("%016X", n) }

// Public is a key that checks.
type Public struct{ key minisign.PublicKey }

// ID is the key's number as minisign prints it.
func (p Public) ID() string { return id(p.key.ID()) }

// String is the key as one line, which minisign takes after -P.
func (p Public) String() string {
	text, err := p.key.MarshalText()
	if err != nil {
		return ""
	}
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	return lines[len(lines)-1]
}

// PublicFile is where the public key of a secret key's file lies.
func PublicFile(file string) string { return strings.TrimSuffix(file, ".key") + ".pub" }

// New makes a key. Neither file may exist: a key that has signed is never
// written over.
func New(file, password string) (Public, error) {
	for _, name := range []string{file, PublicFile(file)} {
		if _, err := os.Lstat(name); err == nil {
			return Public{}, fmt.Errorf("%s exists already: a key that has signed records is never written over; give another name", name)
		}
	}
	pub, private, err := minisign.GenerateKey(rand.Reader)
	if err != nil {
		return Public{}, err
	}
	secret, err := private.MarshalText()
	if password != "" {
		secret, err = minisign.EncryptKey(password, private)
	}
	if err != nil {
		return Public{}, err
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o700); err != nil {
		return Public{}, err
	}
	public, err := pub.MarshalText()
	if err != nil {
		return Public{}, err
	}
	if err := write(file, secret, 0o600); err != nil {
		return Public{}, err
	}
	return Public{pub}, write(PublicFile(file), append(public, '\n'), 0o644)
}

// write makes a file that did not exist, and has it on the disk.
func write(name string, data []byte, mode fs.FileMode) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// Load reads a secret key. One that others may read is refused.
func Load(file, password string) (Key, error) {
	info, err := os.Stat(file)
	if err != nil {
		return Key{}, fmt.Errorf("no key of the bench: %w", err)
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 && os.PathSeparator == '/' {
		return Key{}, fmt.Errorf("%s can be read by others (%v): chmod 600 it, and think of who may have copied it", file, mode)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return Key{}, err
	}
	if minisign.IsEncrypted(data) && password == "" {
		return Key{}, fmt.Errorf("%s asks for a password: put it into the environment as %s", file, PasswordVariable)
	}
	k := Key{File: file}
	if minisign.IsEncrypted(data) {
		k.private, err = minisign.DecryptKey(password, data)
	} else {
		err = k.private.UnmarshalText(data)
	}
	if err != nil {
		return Key{}, fmt.Errorf("%s: %w", file, err)
	}
	return k, nil
}

// PasswordVariable names the environment variable that holds a key's password.
const PasswordVariable = "PROOFPOT_KEY_PASSWORD"

// LoadPublic reads a public key's file.
func LoadPublic(file string) (Public, error) {
	key, err := minisign.PublicKeyFromFile(file)
	if err != nil {
		return Public{}, fmt.Errorf("%s is no public key of minisign's: %w", file, err)
	}
	return Public{key}, nil
}

// Sign signs a file as it is now and writes its signature beside it. trusted is
// a line that is signed with it; it must say nothing that a reader could take
// for more than the file says itself.
func (k Key) Sign(file, trusted string) error {
	if strings.ContainsAny(trusted, "\r\n") {
		return fmt.Errorf("a comment of a signature is one line, not %q", trusted)
	}
	f, err := os.Open(file)
	if err != nil {
		return err
	}
	defer f.Close()
	r := minisign.NewReader(f)
	if err := drain(r); err != nil {
		return fmt.Errorf("%s cannot be signed: %w", file, err)
	}
	sig := r.SignWithComments(k.private, trusted, "signature of "+filepath.Base(file)+" by key "+k.ID())
	temp := file + Suffix + ".new"
	os.Remove(temp)
	if err := write(temp, append(sig, '\n'), 0o644); err != nil {
		return err
	}
	return os.Rename(temp, file+Suffix)
}

func drain(r *minisign.Reader) error {
	b := make([]byte, 64<<10)
	for {
		if _, err := r.Read(b); err != nil {
			if err == io.EOF {
				return nil
			}
			return err
		}
	}
}

// Errors of Verify.
var (
	ErrUnsigned   = errors.New("not signed")
	ErrUnknownKey = errors.New("signed by a key that is not known here")
	ErrAltered    = errors.New("the signature is not that of this file: it was altered, or signed by another key of that number")
)

// Verify checks a file's signature against the public keys that are trusted. It
// returns the key that signed and the comment that was signed with the file.
func Verify(file string, trusted []Public) (Public, string, error) {
	var sig minisign.Signature
	text, err := os.ReadFile(file + Suffix)
	if errors.Is(err, fs.ErrNotExist) {
		return Public{}, "", ErrUnsigned
	}
	if err == nil {
		err = sig.UnmarshalText(text)
	}
	if err == nil { // bits of the text that the decoding drops must be as they were too
		if again, merr := sig.MarshalText(); merr != nil || !bytes.Equal(bytes.TrimSpace(again), bytes.TrimSpace(text)) {
			err = errors.New("not in minisign's form")
		}
	}
	if err != nil {
		return Public{}, "", fmt.Errorf("%w: %s%s: %w", ErrAltered, filepath.Base(file), Suffix, err)
	}
	known := false
	for _, p := range trusted {
		if p.key.ID() != sig.KeyID {
			continue
		}
		known = true
		ok, err := check(file, p, sig)
		if err != nil {
			return Public{}, "", err
		}
		if ok {
			return p, sig.TrustedComment, nil
		}
	}
	if !known {
		return Public{}, "", fmt.Errorf("%w: %s", ErrUnknownKey, id(sig.KeyID))
	}
	return Public{}, "", ErrAltered
}

func check(file string, p Public, sig minisign.Signature) (bool, error) {
	text, err := sig.MarshalText()
	if err != nil {
		return false, err
	}
	if sig.Algorithm == minisign.EdDSA { // of the whole file, as older tools sign
		data, err := os.ReadFile(file)
		return err == nil && minisign.Verify(p.key, data, text), err
	}
	f, err := os.Open(file)
	if err != nil {
		return false, err
	}
	defer f.Close()
	r := minisign.NewReader(f)
	if err := drain(r); err != nil {
		return false, err
	}
	return r.Verify(p.key, text), nil
}
