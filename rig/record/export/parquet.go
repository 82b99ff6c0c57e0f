package export

import (
	"bufio"
	"encoding/binary"
	"errors"
	"io"
	"math"

	"github.com/klauspost/compress/zstd"
)

// Parquet, as apache/parquet-format has it (README.md, Encodings.md and
// parquet.thrift of version 2.10): optional columns, one page of PLAIN values a
// column and group of rows, levels as RLE, packed with zstd. The libraries for it
// would make the program a quarter bigger; a library is what the tests read it with.
const parquetMagic = "PAR1"

// groupRows bounds the memory: rows are kept until a group is full.
const groupRows = 32768

// Numbers of parquet.thrift.
const (
	typeBoolean, typeInt64, typeDouble, typeByteArray = 0, 2, 5, 6
	optional                                          = 1
	encodingPlain, encodingRLE                        = 0, 3
	codecZstd                                         = 6
	convertedUTF8                                     = 0
	pageOfData                                        = 0
)

type parquetSink struct {
	out     *bufio.Writer
	at      int64
	columns []Column
	chunks  []chunk
	rows    int
	total   int64
	groups  []rowGroup
	zip     *zstd.Encoder
	buf     []byte
}

// chunk is one column of the group of rows under way.
type chunk struct {
	present []byte // a bit for each row
	values  []byte // PLAIN
	truths  int    // how many bits of values are used
}

type rowGroup struct {
	rows    int64
	columns []written
}

type written struct {
	at, plain, packed int64
}

// Parquet writes a table as Parquet.
func Parquet(w io.Writer, columns []Column) (Sink, error) {
	zip, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		return nil, err
	}
	s := &parquetSink{out: bufio.NewWriterSize(w, 64<<10), columns: columns, chunks: make([]chunk, len(columns)), zip: zip}
	return s, s.write([]byte(parquetMagic))
}

func (s *parquetSink) write(b []byte) error {
	n, err := s.out.Write(b)
	s.at += int64(n)
	return err
}

func (s *parquetSink) Row(cells []Cell) error {
	for i := range cells {
		c, k := &cells[i], &s.chunks[i]
		if s.rows%8 == 0 {
			k.present = append(k.present, 0)
		}
		if !c.Set {
			continue
		}
		k.present[s.rows/8] |= 1 << (s.rows % 8)
		switch s.columns[i].Kind {
		case Number:
			k.values = binary.LittleEndian.AppendUint64(k.values, math.Float64bits(c.Number))
		case Text:
			if len(c.Text) > math.MaxInt32 {
				return errors.New("a text is too long for Parquet")
			}
			k.values = binary.LittleEndian.AppendUint32(k.values, uint32(len(c.Text)))
			k.values = append(k.values, c.Text...)
		case Truth:
			if k.truths%8 == 0 {
				k.values = append(k.values, 0)
			}
			k.values[k.truths/8] |= byte(c.Count&1) << (k.truths % 8)
			k.truths++
		default:
			k.values = binary.LittleEndian.AppendUint64(k.values, uint64(c.Count))
		}
	}
	if s.rows++; s.rows == groupRows {
		return s.group()
	}
	return nil
}

// group writes the group of rows under way.
func (s *parquetSink) group() error {
	g := rowGroup{rows: int64(s.rows)}
	for i := range s.chunks {
		k := &s.chunks[i]
		// Levels: their length, then one bit-packed run of groups of eight.
		run := binary.AppendUvarint(nil, uint64(len(k.present))<<1|1)
		body := binary.LittleEndian.AppendUint32(s.buf[:0], uint32(len(run)+len(k.present)))
		body = append(append(append(body, run...), k.present...), k.values...)
		s.buf = body
		packed := s.zip.EncodeAll(body, nil)
		var t thrift
		t.i32(1, pageOfData)
		t.i32(2, int64(len(body)))
		t.i32(3, int64(len(packed)))
		t.open(5)
		t.i32(1, int64(s.rows))
		t.i32(2, encodingPlain)
		t.i32(3, encodingRLE)
		t.i32(4, encodingRLE)
		t.close()
		t.end()
		at := s.at
		if err := errors.Join(s.write(t.b), s.write(packed)); err != nil {
			return err
		}
		g.columns = append(g.columns, written{at, int64(len(body) + len(t.b)), s.at - at})
		k.present, k.values, k.truths = k.present[:0], k.values[:0], 0
	}
	s.groups = append(s.groups, g)
	s.total += g.rows
	s.rows = 0
	return nil
}

func (c Column) parquetType() int64 {
	switch c.Kind {
	case Number:
		return typeDouble
	case Text:
		return typeByteArray
	case Truth:
		return typeBoolean
	}
	return typeInt64
}

// Close writes what is left and the footer.
func (s *parquetSink) Close() error {
	if s.rows > 0 {
		if err := s.group(); err != nil {
			return err
		}
	}
	var t thrift // FileMetaData
	t.i32(1, 1)
	t.list(2, thriftStruct, len(s.columns)+1)
	t.begin()
	t.str(4, "record")
	t.i32(5, int64(len(s.columns)))
	t.close()
	for _, c := range s.columns {
		t.begin()
		t.i32(1, c.parquetType())
		t.i32(3, optional)
		t.str(4, c.Name)
		switch c.Kind {
		case Text:
			t.i32(6, convertedUTF8)
			t.open(10) // LogicalType
			t.open(1)  // STRING
			t.close()
			t.close()
		case Time:
			t.open(10)
			t.open(8) // TIMESTAMP
			t.truth(1, true)
			t.open(2) // unit
			t.open(3) // NANOS
			t.close()
			t.close()
			t.close()
			t.close()
		}
		t.close()
	}
	t.i64(3, s.total)
	t.list(4, thriftStruct, len(s.groups))
	for _, g := range s.groups {
		t.begin()
		t.list(1, thriftStruct, len(g.columns))
		size := int64(0)
		for i, c := range g.columns {
			size += c.plain
			t.begin() // ColumnChunk
			t.i64(2, c.at)
			t.open(3) // ColumnMetaData
			t.i32(1, s.columns[i].parquetType())
			t.list(2, thriftI32, 2)
			t.element(encodingPlain)
			t.element(encodingRLE)
			t.list(3, thriftBinary, 1)
			t.text(s.columns[i].Name)
			t.i32(4, codecZstd)
			t.i64(5, g.rows)
			t.i64(6, c.plain)
			t.i64(7, c.packed)
			t.i64(9, c.at)
			t.close()
			t.close()
		}
		t.i64(2, size)
		t.i64(3, g.rows)
		t.close()
	}
	t.str(6, "proofpot")
	t.end()
	foot := binary.LittleEndian.AppendUint32(t.b, uint32(len(t.b)))
	if err := s.write(append(foot, parquetMagic...)); err != nil {
		return err
	}
	return s.out.Flush()
}
