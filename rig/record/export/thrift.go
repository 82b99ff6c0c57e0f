package export

import "encoding/binary"

// thrift writes structures in Thrift's compact protocol
// (apache/thrift, doc/specs/thrift-compact-protocol.md).
type thrift struct {
	b     []byte
	last  int   // field that was written last
	outer []int // the same of the structures around
}

const (
	thriftTrue, thriftFalse = 1, 2
	thriftI32, thriftI64    = 5, 6
	thriftBinary            = 8
	thriftList              = 9
	thriftStruct            = 12
)

// field writes the head of a field; those of a structure come in rising order.
func (t *thrift) field(id, kind int) {
	if d := id - t.last; d > 0 && d < 16 {
		t.b = append(t.b, byte(d<<4|kind))
	} else {
		t.b = binary.AppendVarint(append(t.b, byte(kind)), int64(id)) // AppendVarint is zigzag
	}
	t.last = id
}

func (t *thrift) i32(id int, v int64) { t.field(id, thriftI32); t.element(v) }
func (t *thrift) i64(id int, v int64) { t.field(id, thriftI64); t.element(v) }
func (t *thrift) element(v int64)     { t.b = binary.AppendVarint(t.b, v) }

func (t *thrift) str(id int, s string) { t.field(id, thriftBinary); t.text(s) }
func (t *thrift) text(s string) {
	t.b = append(binary.AppendUvarint(t.b, uint64(len(s))), s...)
}

func (t *thrift) truth(id int, v bool) {
	if v {
		t.field(id, thriftTrue)
	} else {
		t.field(id, thriftFalse)
	}
}

func (t *thrift) list(id, kind, n int) {
	t.field(id, thriftList)
	if n < 15 {
		t.b = append(t.b, byte(n<<4|kind))
	} else {
		t.b = binary.AppendUvarint(append(t.b, byte(0xf0|kind)), uint64(n))
	}
}

// open begins a structure that is a field, begin one that is an element; close ends either.
func (t *thrift) open(id int) { t.field(id, thriftStruct); t.begin() }
func (t *thrift) begin()      { t.outer = append(t.outer, t.last); t.last = 0 }
func (t *thrift) close() {
	t.end()
	t.last = t.outer[len(t.outer)-1]
	t.outer = t.outer[:len(t.outer)-1]
}

// end ends the outermost structure.
func (t *thrift) end() { t.b = append(t.b, 0) }
