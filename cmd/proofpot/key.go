package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"proofpot/rig/record"
	"proofpot/rig/record/signing"
	"proofpot/rig/record/verify"
)

type keyCmd struct {
	New    keyNewCmd    `cmd:"" help:"Make the key that this bench signs its records with."`
	Show   keyShowCmd   `cmd:"" help:"Print the public key, which is what others need."`
	Backup keyBackupCmd `cmd:"" help:"Copy the key to another place, a stick say, and read it back."`
	Sign   keySignCmd   `cmd:"" help:"Sign records whose run has ended."`
}

// keyFlag names the key's file.
type keyFlag struct {
	Key string `help:"File of the bench's secret key." env:"PROOFPOT_KEY" placeholder:"BENCH.KEY"`
}

// defaultKey is where a bench's key lies that nobody has put elsewhere.
func defaultKey() string {
	if file := os.Getenv("PROOFPOT_KEY"); file != "" {
		return file
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return ""
	}
	return filepath.Join(dir, "proofpot", "bench.key")
}

func (k *keyFlag) file() (string, error) {
	if k.Key != "" {
		return k.Key, nil
	}
	if file := defaultKey(); file != "" {
		return file, nil
	}
	return "", errors.New("no place for the key: give --key FILE")
}

// load gives the bench's key, or nil where it has none and none was asked for.
func (k *keyFlag) load() (*signing.Key, error) {
	file, err := k.file()
	if err != nil {
		return nil, nil //nolint:nilerr // nothing says where a key may lie: there is none
	}
	if _, err := os.Stat(file); k.Key == "" && errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	key, err := signing.Load(file, os.Getenv(signing.PasswordVariable))
	if err != nil {
		return nil, err
	}
	return &key, nil
}

// signRecord signs a record that has ended, and its certificates.
func signRecord(folder string, key *signing.Key) error {
	if key == nil {
		return nil
	}
	if err := verify.Sign(folder, *key); err != nil {
		return err
	}
	return signCertificates(folder, key)
}

// signCertificates signs the certificates of a record anew.
func signCertificates(folder string, key *signing.Key) error {
	if key == nil {
		return nil
	}
	abs, err := filepath.Abs(folder)
	if err != nil {
		return err
	}
	for _, name := range []string{certificateFile, certificatePDF} {
		err := key.Sign(filepath.Join(folder, name), "certificate of record "+filepath.Base(abs))
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

type keyNewCmd struct{ keyFlag }

func (c *keyNewCmd) Run(w *world) error {
	file, err := c.file()
	if err != nil {
		return err
	}
	password := os.Getenv(signing.PasswordVariable)
	pub, err := signing.New(file, password)
	if err != nil {
		return err
	}
	guard := "with the password of " + signing.PasswordVariable
	if password == "" {
		guard = "without a password: whoever can read it can sign"
	}
	fmt.Fprintf(w.out, "secret key: %s, %s\npublic key: %s, number %s\n%s\n", file, guard, signing.PublicFile(file), pub.ID(), pub)
	fmt.Fprintln(w.out, "Copy the secret key to a safe place (proofpot key backup), and give the public one to whoever is to check your records.")
	return nil
}

type keyShowCmd struct{ keyFlag }

func (c *keyShowCmd) Run(w *world) error {
	file, err := c.file()
	if err != nil {
		return err
	}
	pub, err := signing.LoadPublic(signing.PublicFile(file))
	if err != nil {
		return err
	}
	fmt.Fprintf(w.out, "%s, number %s\n%s\ncheck with: minisign -Vm RECORD/%s -P %s\n", signing.PublicFile(file), pub.ID(), pub, record.SumsFile, pub)
	return nil
}

type keyBackupCmd struct {
	keyFlag
	To string `arg:"" help:"Folder to copy the key to." placeholder:"FOLDER"`
}

func (c *keyBackupCmd) Run(w *world) error {
	file, err := c.file()
	if err != nil {
		return err
	}
	pub, err := signing.LoadPublic(signing.PublicFile(file))
	if err != nil {
		return err
	}
	for _, from := range []string{file, signing.PublicFile(file)} {
		data, err := os.ReadFile(from)
		if err != nil {
			return err
		}
		to := filepath.Join(c.To, filepath.Base(from))
		if old, err := os.ReadFile(to); err == nil && string(old) != string(data) {
			return fmt.Errorf("%s is another key; give another folder", to)
		}
		if err := record.WriteWhole(to, data, 0o600); err != nil {
			return err
		}
		if again, err := os.ReadFile(to); err != nil || string(again) != string(data) {
			return coded{exitBench, fmt.Errorf("%s does not read back as it was written", to)}
		}
	}
	fmt.Fprintf(w.out, "key %s copied to %s and read back\n", pub.ID(), c.To)
	return nil
}

type keySignCmd struct {
	keyFlag
	Records []string `arg:"" name:"record" help:"Folders of records." placeholder:"RECORD"`
}

func (c *keySignCmd) Run(w *world) error {
	key, err := c.load()
	if err != nil {
		return err
	}
	if key == nil {
		return errors.New("this bench has no key; proofpot key new makes one")
	}
	for _, folder := range c.Records {
		rep, err := verify.Check(folder, nil)
		if err != nil {
			return coded{exitUsage, err}
		}
		if rep.BadCount > 0 {
			return coded{exitNo, fmt.Errorf("%s is not intact, and is not signed: %s", folder, rep.Bad[0])}
		}
		if err := signRecord(folder, key); err != nil {
			return err
		}
		fmt.Fprintf(w.out, "%s: signed by key %s\n", folder, key.ID())
	}
	return nil
}
