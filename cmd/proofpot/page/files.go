package page

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // what a telephone's camera gives
	_ "image/png"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path"
	"regexp"
	"strings"
	"time"

	"proofpot/rig/record"
)

var (
	errNoRecord = errors.New("there is no such record")
	recordName  = regexp.MustCompile(`^[0-9]{8}T[0-9]{6}Z-[A-Za-z0-9][A-Za-z0-9._-]{0,63}$`)
	photoName   = regexp.MustCompile(`^[0-9]{8}T[0-9]{6}Z-[0-9a-f]{8}\.(jpg|png)$`)
)

func safeName(name string) bool { return recordName.MatchString(name) }

// served are the files of a record that the page hands out.
var served = map[string]string{
	"certificate.html":  "text/html; charset=utf-8",
	"certificate.pdf":   "application/pdf",
	"label.pdf":         "application/pdf",
	"label.svg":         "image/svg+xml",
	"verdict.json":      "application/json",
	"run.toml":          "text/plain; charset=utf-8",
	record.ReadingsFile: "text/plain; charset=utf-8",
}

func (s *Server) recordFile(w http.ResponseWriter, r *http.Request) {
	kind, known := served[r.PathValue("file")]
	if !known {
		refuse(w, http.StatusNotFound, errNoRecord)
		return
	}
	s.file(w, r, kind, r.PathValue("record"), r.PathValue("file"))
}

func (s *Server) photoFile(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("file")
	if !photoName.MatchString(name) {
		refuse(w, http.StatusNotFound, errNoRecord)
		return
	}
	kind := "image/jpeg"
	if strings.HasSuffix(name, ".png") {
		kind = "image/png"
	}
	s.file(w, r, kind, r.PathValue("record"), "photos/"+name)
}

// file serves a file of a record and of nothing outside the records' folder.
func (s *Server) file(w http.ResponseWriter, r *http.Request, kind, folder, name string) {
	if !safeName(folder) {
		refuse(w, http.StatusNotFound, errNoRecord)
		return
	}
	root, err := os.OpenRoot(s.opts.Records)
	if err != nil {
		refuse(w, http.StatusNotFound, errNoRecord)
		return
	}
	defer root.Close()
	f, err := root.Open(path.Join(folder, name))
	if errors.Is(err, fs.ErrNotExist) && name == record.ReadingsFile {
		unzipped(w, root, folder)
		return
	}
	if err != nil {
		refuse(w, http.StatusNotFound, errNoRecord)
		return
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		refuse(w, http.StatusNotFound, errNoRecord)
		return
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	if kind == "text/html; charset=utf-8" || kind == "image/svg+xml" { // documents of their own, which run nothing
		h.Set("Content-Security-Policy", "default-src 'none'; style-src 'unsafe-inline'; sandbox")
	}
	http.ServeContent(w, r, "", info.ModTime(), f)
}

// unzipped serves the readings of a record that is kept compressed only.
func unzipped(w http.ResponseWriter, root *os.Root, folder string) {
	f, err := root.Open(path.Join(folder, record.CompressedFile))
	if err != nil {
		refuse(w, http.StatusNotFound, errNoRecord)
		return
	}
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		f.Close()
		refuse(w, http.StatusNotFound, errNoRecord)
		return
	}
	r, err := record.Unzip(f)
	if err != nil {
		refuse(w, http.StatusInternalServerError, err)
		return
	}
	defer r.Close()
	w.Header().Set("Content-Type", served[record.ReadingsFile])
	if _, err := io.Copy(w, r); err != nil { // a torn file, or the reader went away
		panic(http.ErrAbortHandler) // so that what came is not taken for the whole
	}
}

const mostPixels = 100e6

// photo keeps a photograph with the record of the run under way, and notes it
// there with its fingerprint.
func (s *Server) photo(r *http.Request) (any, error) {
	on := s.work.now()
	if on == nil || on.folder() == "" {
		return nil, errIdle
	}
	data, err := io.ReadAll(io.LimitReader(r.Body, mostPhoto+1))
	if err != nil {
		return nil, err
	}
	if len(data) > mostPhoto {
		return nil, fmt.Errorf("a photograph has at most %d MB", mostPhoto>>20)
	}
	about, format, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil || format != "jpeg" && format != "png" {
		return nil, errors.New("that is no photograph; JPEG and PNG are")
	}
	if float64(about.Width)*float64(about.Height) > mostPixels {
		return nil, fmt.Errorf("the photograph has %d × %d pixels, too many", about.Width, about.Height)
	}
	sum := sha256.Sum256(data)
	name := time.Now().UTC().Format("20060102T150405Z") + "-" + hex.EncodeToString(sum[:4]) + map[string]string{"jpeg": ".jpg", "png": ".png"}[format]
	if err := s.keep(on.folder(), name, data); err != nil {
		return nil, err
	}
	text := "photograph photos/" + name + ", sha256 " + hex.EncodeToString(sum[:])
	if words := strings.Join(strings.Fields(r.URL.Query().Get("text")), " "); words != "" && len(words) <= 200 {
		text += ": " + words
	}
	return map[string]string{"file": name}, on.note(text)
}

func (s *Server) keep(folder, name string, data []byte) error {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return err
	}
	defer root.Close()
	if err := root.Mkdir("photos", 0o755); err != nil && !errors.Is(err, os.ErrExist) {
		return err
	}
	f, err := root.OpenFile("photos/"+name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	if _, err := f.Write(data); err != nil {
		return errors.Join(err, f.Close())
	}
	return errors.Join(f.Sync(), f.Close())
}
