package files

import (
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"

	"proofpot/analysis/register"
	"proofpot/rig/record"
)

// indexFile saves reading each event's file. It may be deleted at any time, and
// belongs into no version control.
const indexFile = ".index.json"

// indexVersion changes with the meaning of what it holds.
const indexVersion = 2

type indexed struct {
	Size  int64          `json:"size"`
	Mod   int64          `json:"mod"` // ns
	Event register.Event `json:"event"`
}

type index struct {
	Version int                `json:"version"`
	Files   map[string]indexed `json:"files"`

	file    string
	changed bool
}

// openIndex reads the index; one that cannot be read is begun anew.
func openIndex(root string) *index {
	ix := &index{file: filepath.Join(root, indexFile)}
	if data, err := os.ReadFile(ix.file); err == nil {
		if json.Unmarshal(data, ix) != nil || ix.Version != indexVersion {
			ix.Files = nil
		}
	}
	if ix.Files == nil {
		ix.Files = map[string]indexed{}
	}
	ix.Version = indexVersion
	return ix
}

func (ix *index) get(key string, info fs.FileInfo) (register.Event, bool) {
	e, ok := ix.Files[key]
	if !ok || e.Size != info.Size() || e.Mod != info.ModTime().UnixNano() {
		return register.Event{}, false
	}
	return e.Event, true
}

func (ix *index) put(key string, info fs.FileInfo, e register.Event) {
	ix.Files[key] = indexed{info.Size(), info.ModTime().UnixNano(), e}
	ix.changed = true
}

// save keeps the index where it can: a folder that cannot be written to costs
// time and nothing else.
func (ix *index) save() {
	if !ix.changed {
		return
	}
	if data, err := json.Marshal(ix); err == nil {
		_ = record.WriteWhole(ix.file, data, 0o644)
	}
}
