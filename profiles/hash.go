package profiles

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"reflect"
	"strconv"
	"strings"
)

// Hash gives the SHA-256 of what a profile asks for, as hex: of its canonical
// text, so that comments, blanks and the order of keys do not change it.
func (p Profile) Hash() string {
	sum := sha256.Sum256([]byte(p.Canonical()))
	return hex.EncodeToString(sum[:])
}

// Canonical gives the canonical text of a profile: a line "key = value" for
// every value that is not zero, in the order of the struct, keys in full
// ("stage[1].depth_m"), numbers in the shortest form that reads back the same.
// A key that a later version adds changes nothing where it is not used.
func (p Profile) Canonical() string {
	var b strings.Builder
	canonical(&b, "", reflect.ValueOf(p))
	return b.String()
}

func canonical(b *strings.Builder, key string, v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("toml"), ",")
			if key != "" {
				name = key + "." + name
			}
			canonical(b, name, v.Field(i))
		}
	case reflect.Slice:
		for i := range v.Len() {
			fmt.Fprintf(b, "%s[%d]\n", key, i)
			canonical(b, fmt.Sprintf("%s[%d]", key, i), v.Index(i))
		}
	case reflect.Float64:
		if v.Float() != 0 {
			fmt.Fprintf(b, "%s = %s\n", key, strconv.FormatFloat(v.Float(), 'g', -1, 64))
		}
	case reflect.Int:
		if v.Int() != 0 {
			fmt.Fprintf(b, "%s = %d\n", key, v.Int())
		}
	case reflect.Bool:
		if v.Bool() {
			fmt.Fprintf(b, "%s = true\n", key)
		}
	case reflect.String:
		if v.String() != "" {
			fmt.Fprintf(b, "%s = %s\n", key, strconv.Quote(v.String()))
		}
	default:
		panic("profiles: a field of kind " + v.Kind().String() + " has no canonical form")
	}
}
