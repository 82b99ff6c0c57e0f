package catalogue

import (
	"encoding/json"
	"os"
	"path/filepath"

	"proofpot/rig/record"
)

// IndexFile saves reading each record's sheet and verdict.
const IndexFile = ".index.json"

// indexVersion changes with the meaning of what it holds.
const indexVersion = 1

type index struct {
	Version int                `json:"version"`
	Records map[string]indexed `json:"records"`
}

type indexed struct {
	Mark  mark  `json:"mark"`
	Entry Entry `json:"entry"`
}

// openIndex reads the index; one that cannot be read is begun anew.
func openIndex(records string) index {
	var ix index
	data, err := os.ReadFile(filepath.Join(records, IndexFile))
	if err != nil || json.Unmarshal(data, &ix) != nil || ix.Version != indexVersion {
		return index{}
	}
	return ix
}

// save keeps the index where it can: a folder that cannot be written to costs
// time and nothing else.
func (ix *index) save(records string) {
	if data, err := json.Marshal(ix); err == nil {
		_ = record.WriteWhole(filepath.Join(records, IndexFile), data, 0o644)
	}
}
