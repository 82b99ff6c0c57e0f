package profiles

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"strings"

	"proofpot/profiles/strict"
)

//go:embed builtin/*.toml
var builtIn embed.FS

// BuiltIn lists the names of the built-in profiles, in alphabetical order.
func BuiltIn() []string {
	files, err := fs.Glob(builtIn, "builtin/*.toml")
	if err != nil {
		panic(err) // the pattern is a constant
	}
	names := make([]string, len(files))
	for i, f := range files {
		names[i] = strings.TrimSuffix(path.Base(f), ".toml")
	}
	return names
}

// Source gives the TOML text of a built-in profile, comments included, for a
// person to copy.
func Source(name string) ([]byte, error) {
	data, err := builtIn.ReadFile("builtin/" + name + ".toml")
	if err != nil {
		return nil, unknown(name)
	}
	return data, nil
}

// Load reads a profile by the name of a built-in one, or from a file whose name
// ends in .toml.
func Load(nameOrFile string) (Profile, error) {
	if !strings.HasSuffix(nameOrFile, ".toml") {
		data, err := Source(nameOrFile)
		if err != nil {
			return Profile{}, err
		}
		return Parse(nameOrFile+" (built in)", data)
	}
	data, err := os.ReadFile(nameOrFile)
	if err != nil {
		return Profile{}, fmt.Errorf("profile: %w", err)
	}
	return Parse(nameOrFile, data)
}

func unknown(name string) error {
	text := fmt.Sprintf("unknown profile %q", name)
	if near, ok := strict.Nearest(name, BuiltIn()); ok {
		text += fmt.Sprintf("; did you mean %q?", near)
	}
	return errors.New(text + "; a file must end in .toml; built in are " + strings.Join(BuiltIn(), ", "))
}

// Parse reads a profile that a person wrote, strictly: the error, a
// *strict.Error, names the file, line and column, what was found and what is
// allowed. Limits by the dive are turned into limits by the hour, and the water
// model's name into its usual spelling.
func Parse(file string, data []byte) (Profile, error) {
	var p Profile
	if err := strict.Decode(file, data, &p); err != nil {
		return Profile{}, err
	}
	if err := p.Check(); err != nil {
		var key *KeyError
		if errors.As(err, &key) {
			return Profile{}, strict.At(file, data, key.Key, key.Text)
		}
		return Profile{}, fmt.Errorf("%s: %w", file, err)
	}
	p.Water.Model, _ = Model(p.Water.Model)
	by := p.Accept.byHour()
	if p.Accept.LeakMLPerH == 0 {
		p.Accept.LeakMLPerH = by.LeakMLPerH
	}
	if p.Accept.MoistureMGPerH == 0 {
		p.Accept.MoistureMGPerH = by.MoistureMGPerH
	}
	return p, nil
}
