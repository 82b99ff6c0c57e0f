package strict

import (
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// kind is what stands in a document at a key.
type kind uint8

const (
	aTable kind = iota
	anArray
	aString
	aWholeNumber
	aNumber
	aBool
	aTime
)

func (k kind) String() string {
	return [...]string{"a table", "a list", "a string", "a whole number", "a number", "true or false", "a date or time"}[k]
}

// node is a key with what stands there: a table, a list or a value.
type node struct {
	key      string
	kind     kind
	offset   int     // byte offset of the key; of an element of a list, of its header or value
	text     string  // of a value, as written
	headed   bool    // a table or list made by a [header] or [[header]]
	children []*node // of a table by key, of a list in order
	byKey    map[string]*node
}

func (n *node) child(key string) *node { return n.byKey[key] }

func (n *node) add(c *node) *node {
	n.children = append(n.children, c)
	if n.byKey == nil {
		n.byKey = map[string]*node{}
	}
	n.byKey[c.key] = c
	return c
}

// last gives the newest element of a list of tables, or the node itself.
func (n *node) last() *node {
	if n.kind == anArray && len(n.children) > 0 {
		return n.children[len(n.children)-1]
	}
	return n
}

// enter walks down one part of a key, making the table where it is not there yet.
func (n *node) enter(part *unstable.Node) *node {
	key := string(part.Data)
	if c := n.child(key); c != nil {
		return c.last()
	}
	return n.add(&node{key: key, kind: aTable, offset: int(part.Raw.Offset)})
}

// find gives the node at a path such as "stage[2].depth_m", or the innermost
// node on the way there that the document has.
func (n *node) find(path string) *node {
	here := n
	for part := range strings.SplitSeq(path, ".") {
		key, rest, _ := strings.Cut(part, "[")
		next := here.child(key)
		if next == nil {
			return here
		}
		here = next
		for index := range strings.SplitSeq(rest, "[") {
			i, err := strconv.Atoi(strings.TrimSuffix(index, "]"))
			if err != nil || i < 0 || i >= len(here.children) {
				break
			}
			here = here.children[i]
		}
	}
	return here
}

// scan reads a document into a tree of its keys. It expects what the TOML
// reader has accepted; of anything else it says that the syntax is wrong.
func scan(data []byte) (*node, error) {
	var p unstable.Parser
	p.Reset(data)
	root := &node{kind: aTable}
	table := root
	for p.NextExpression() {
		e := p.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = header(root, e)
		case unstable.KeyValue:
			keyValue(table, e)
		}
	}
	if p.Error() != nil {
		var any map[string]any
		if err := toml.Unmarshal(data, &any); err != nil {
			return nil, err // with its place
		}
		return nil, p.Error()
	}
	return root, nil
}

// header enters the table of a [header], or adds an element for a [[header]].
func header(root *node, e *unstable.Node) *node {
	here := root
	for parts := e.Key(); parts.Next(); {
		part := parts.Node()
		if !parts.IsLast() {
			here = here.enter(part)
			continue
		}
		key, offset := string(part.Data), int(part.Raw.Offset)
		c := here.child(key)
		if e.Kind == unstable.Table {
			if c == nil {
				c = here.add(&node{key: key, kind: aTable, offset: offset})
			}
			c.headed = true
			here = c.last()
			continue
		}
		if c == nil {
			c = here.add(&node{key: key, kind: anArray, offset: offset, headed: true})
		}
		here = c.add(&node{key: key, kind: aTable, offset: offset, headed: true})
	}
	return here
}

func keyValue(table *node, e *unstable.Node) {
	here := table
	for parts := e.Key(); parts.Next(); {
		if part := parts.Node(); parts.IsLast() {
			value(here.add(&node{key: string(part.Data), offset: int(part.Raw.Offset)}), e.Value())
		} else {
			here = here.enter(part)
		}
	}
}

// value fills a node with the value that stands at its key.
func value(n *node, v *unstable.Node) {
	n.text = string(v.Data)
	switch v.Kind {
	case unstable.Array:
		n.kind = anArray
		for it := v.Children(); it.Next(); {
			e := it.Node()
			offset := n.offset
			if e.Raw.Length > 0 {
				offset = int(e.Raw.Offset)
			}
			value(n.add(&node{key: n.key, offset: offset}), e)
		}
	case unstable.InlineTable:
		n.kind = aTable
		for it := v.Children(); it.Next(); {
			keyValue(n, it.Node())
		}
	case unstable.String:
		n.kind = aString
	case unstable.Integer:
		n.kind = aWholeNumber
	case unstable.Float:
		n.kind = aNumber
	case unstable.Bool:
		n.kind = aBool
	default:
		n.kind = aTime
	}
}
