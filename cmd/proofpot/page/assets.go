package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"sync"
)

//go:embed assets
var embedded embed.FS

// asset is a file of the page, packed once.
type asset struct {
	kind   string
	plain  []byte
	packed []byte
	tag    string
}

// assets are the files by the path under which they are served, packed when the first
// is asked for: most commands serve none.
var assets = sync.OnceValue(func() map[string]asset {
	all := map[string]asset{}
	err := fs.WalkDir(embedded, "assets", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := embedded.ReadFile(name)
		if err != nil {
			return err
		}
		var packed bytes.Buffer
		z, _ := gzip.NewWriterLevel(&packed, gzip.BestCompression)
		if _, err := z.Write(data); err != nil {
			return err
		}
		if err := z.Close(); err != nil {
			return err
		}
		sum := sha256.Sum256(data)
		kind := map[string]string{".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8",
			".json": "application/json", ".svg": "image/svg+xml"}[path.Ext(name)]
		all[strings.TrimPrefix(name, "assets")] = asset{kind, data, packed.Bytes(), `"` + hex.EncodeToString(sum[:8]) + `"`}
		return nil
	})
	if err != nil {
		panic(err) // the files are part of the program
	}
	return all
})

func serveAsset(w http.ResponseWriter, r *http.Request) {
	name := r.URL.Path
	if name == "/" {
		name = "/index.html"
	}
	a := assets()[name]
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("Cache-Control", "no-cache")
	h.Set("ETag", a.tag)
	h.Set("Vary", "Accept-Encoding")
	if r.Header.Get("If-None-Match") == a.tag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		w.Write(a.packed)
		return
	}
	w.Write(a.plain)
}
