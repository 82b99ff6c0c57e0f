package strict

import (
	"encoding"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"
)

// problem is something wrong at a place of the document.
type problem struct {
	offset int
	text   string
}

// field is a key that a struct allows.
type field struct {
	key string
	typ reflect.Type
}

var (
	timeType = reflect.TypeFor[time.Time]()
	textType = reflect.TypeFor[encoding.TextUnmarshaler]()
)

// check compares a document with the type it is to fill, and lists what is
// wrong in the order of the document.
func check(root *node, typ reflect.Type) []problem {
	c := checker{top: typ}
	c.table(root, typ, "")
	slices.SortStableFunc(c.found, func(a, b problem) int { return a.offset - b.offset })
	return c.found
}

type checker struct {
	top   reflect.Type
	found []problem
}

func (c *checker) wrong(n *node, format string, args ...any) {
	c.found = append(c.found, problem{n.offset, fmt.Sprintf(format, args...)})
}

// table checks the keys of a table; where says which, for the message.
func (c *checker) table(n *node, typ reflect.Type, where string) {
	allowed := fields(typ)
	for _, child := range n.children {
		i := slices.IndexFunc(allowed, func(f field) bool { return f.key == child.key })
		if i < 0 {
			c.wrong(child, "%s", c.unknown(child.key, allowed, where))
			continue
		}
		path := child.key
		if where != "" {
			path = where + "." + path
		}
		c.value(child, allowed[i].typ, path)
	}
}

// value checks what stands at a key.
func (c *checker) value(n *node, typ reflect.Type, path string) {
	for typ.Kind() == reflect.Pointer {
		typ = typ.Elem()
	}
	want := ""
	switch {
	case typ == timeType:
		if n.kind != aTime {
			want = aTime.String()
		}
	case reflect.PointerTo(typ).Implements(textType):
		if n.kind != aString {
			want = aString.String()
		}
	case typ.Kind() == reflect.Struct:
		if n.kind == aTable {
			c.table(n, typ, path)
			return
		}
		want = "a table [" + path + "]"
	case typ.Kind() == reflect.Slice:
		c.list(n, typ.Elem(), path)
		return
	case typ.Kind() == reflect.String:
		if n.kind != aString {
			want = "a string in quotes"
		}
	case typ.Kind() == reflect.Bool:
		if n.kind != aBool {
			want = aBool.String()
		}
	case typ.Kind() == reflect.Float64 || typ.Kind() == reflect.Float32:
		if n.kind != aNumber && n.kind != aWholeNumber {
			want = aNumber.String()
		} else if strings.HasSuffix(n.text, "nan") || strings.HasSuffix(n.text, "inf") {
			want = "a finite number"
		}
	case isWhole(typ.Kind()):
		if n.kind != aWholeNumber {
			want = aWholeNumber.String()
		}
	}
	if want != "" {
		c.wrong(n, "%q is %s, must be %s", path, n.shown(), want)
	}
}

// list checks the elements of a list of values or of tables.
func (c *checker) list(n *node, elem reflect.Type, path string) {
	ofTables := elem.Kind() == reflect.Struct && elem != timeType
	switch {
	case n.kind == anArray:
		for i, e := range n.children {
			c.value(e, elem, fmt.Sprintf("%s[%d]", path, i))
		}
	case ofTables && n.kind == aTable && n.headed:
		c.wrong(n, "%q is one table [%s], must be a list of tables, each begun by [[%s]]", path, path, path)
	case ofTables:
		c.wrong(n, "%q is %s, must be a list of tables, each begun by [[%s]]", path, n.shown(), path)
	default:
		c.wrong(n, "%q is %s, must be a list in square brackets", path, n.shown())
	}
}

// shown says what a node is, with its value where that is short.
func (n *node) shown() string {
	switch n.kind {
	case aString:
		return fmt.Sprintf("the string %q", shorten(n.text))
	case aWholeNumber, aNumber:
		return "the number " + shorten(n.text)
	case aBool:
		return n.text
	}
	return n.kind.String()
}

func shorten(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// unknown words the message for a key that the table does not have.
func (c *checker) unknown(key string, allowed []field, where string) string {
	keys := make([]string, len(allowed))
	for i, f := range allowed {
		keys[i] = f.key
	}
	text := fmt.Sprintf("unknown key %q", shorten(key))
	if where != "" {
		text += " in " + where
	}
	if near, ok := Nearest(key, keys); ok {
		return text + fmt.Sprintf("; did you mean %q?", near)
	}
	if home, ok := homeOf(key, c.top, ""); ok {
		return text + "; it belongs " + home
	}
	return text + "; allowed are " + strings.Join(keys, ", ")
}

// homeOf finds the one table whose key this is, for a key that stands under
// the wrong header: a key below [accept] is in accept, whatever the writer meant.
func homeOf(key string, typ reflect.Type, path string) (string, bool) {
	for _, f := range fields(typ) {
		if f.key == key {
			if path == "" {
				return "above the first [table]", true
			}
			return "in " + path, true
		}
	}
	for _, f := range fields(typ) {
		t, open, shut := f.typ, "[", "]"
		if t.Kind() == reflect.Slice {
			t, open, shut = t.Elem(), "[[", "]]"
		}
		if t.Kind() != reflect.Struct || t == timeType {
			continue
		}
		inner := strings.Trim(path, "[]")
		if inner != "" {
			inner += "."
		}
		if home, ok := homeOf(key, t, open+inner+f.key+shut); ok {
			return home, true
		}
	}
	return "", false
}

// fields lists the keys of a struct in its order, those of embedded structs included.
func fields(typ reflect.Type) []field {
	var all []field
	for i := range typ.NumField() {
		f := typ.Field(i)
		key, _, _ := strings.Cut(f.Tag.Get("toml"), ",")
		switch {
		case key == "-" || !f.IsExported():
		case key == "" && f.Anonymous && f.Type.Kind() == reflect.Struct:
			all = append(all, fields(f.Type)...)
		case key == "":
			all = append(all, field{f.Name, f.Type})
		default:
			all = append(all, field{key, f.Type})
		}
	}
	return all
}

func isWhole(k reflect.Kind) bool { return k >= reflect.Int && k <= reflect.Uint64 }
