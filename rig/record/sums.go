package record

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// SumsFile lists the sha256 of everything in a record that an analysis goes by, as
// sha256sum writes it and `sha256sum -c` checks it. It is what is signed.
const SumsFile = "SHA256SUMS"

// kept are the files of a record that are evidence: the settings, the readings,
// what power cuts left torn, and what a logger inside the unit kept.
func kept(folder string) ([]string, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	names := []string{RunFile, ReadingsFile}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ReadingsFile+".torn-") || e.Name() == InsideFile {
			names = append(names, e.Name())
		}
	}
	return names, nil
}

// WriteSums writes SHA256SUMS for a record that has ended.
func WriteSums(folder string) error {
	names, err := kept(folder)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	for _, name := range names {
		sum, err := sumOf(folder, name)
		if err != nil {
			return err
		}
		fmt.Fprintf(&out, "%s  %s\n", sum, name)
	}
	return WriteWhole(filepath.Join(folder, SumsFile), out.Bytes(), 0o444)
}

// CheckSums compares a record with its SHA256SUMS and says which files differ,
// are missing or are not listed. Readings that were compressed are compared as
// they were before. A logger's file that was merged after the list was made is
// no alteration, and is said among the remarks. A record without the list gives
// fs.ErrNotExist.
func CheckSums(folder string) (differ, remarks []string, err error) {
	data, err := os.ReadFile(filepath.Join(folder, SumsFile))
	if err != nil {
		return nil, nil, err
	}
	listed := map[string]bool{}
	sc := bufio.NewScanner(bytes.NewReader(data))
	for sc.Scan() {
		want, name, ok := strings.Cut(sc.Text(), "  ")
		if !ok || name != filepath.Base(name) || listed[name] {
			return append(differ, fmt.Sprintf("%s: %q is no line of it", SumsFile, sc.Text())), nil, nil
		}
		listed[name] = true
		got, err := sumOf(folder, name)
		switch {
		case err != nil:
			differ = append(differ, fmt.Sprintf("%s cannot be read: %v", name, err))
		case got != want:
			differ = append(differ, name+" was altered: its sha256 is not the one that was signed")
		}
	}
	names, err := kept(folder)
	if err != nil {
		return nil, nil, err
	}
	for _, name := range names {
		switch {
		case listed[name]:
		case name == InsideFile:
			remarks = append(remarks, name+" was merged after the record was signed, and is not signed: proofpot key sign signs it")
		default:
			differ = append(differ, name+" is not listed in "+SumsFile)
		}
	}
	slices.Sort(differ)
	return differ, remarks, nil
}

// Fingerprint is the sha256 of a record's readings, as they were before any compression.
func Fingerprint(folder string) (string, error) { return sumOf(folder, ReadingsFile) }

func sumOf(folder, name string) (string, error) {
	var f io.ReadCloser
	var err error
	if name == ReadingsFile {
		f, err = openReadings(folder)
	} else {
		f, err = os.Open(filepath.Join(folder, name))
	}
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
