package export

import (
	"bufio"
	"encoding/csv"
	"io"
	"strconv"
	"time"
)

// timeLayout is RFC 3339 with all nine digits of a second, UTC.
const timeLayout = "2006-01-02T15:04:05.000000000Z"

type csvSink struct {
	out     *csv.Writer
	buf     *bufio.Writer
	columns []Column
	row     []string
}

// CSV writes a table as CSV with a header. Truths are 1 and 0, so that a column
// with gaps stays one of numbers; what is missing is empty.
func CSV(w io.Writer, columns []Column) (Sink, error) {
	s := &csvSink{buf: bufio.NewWriterSize(w, 64<<10), columns: columns, row: make([]string, len(columns))}
	s.out = csv.NewWriter(s.buf)
	for i, c := range columns {
		s.row[i] = c.Name
	}
	return s, s.out.Write(s.row)
}

func (s *csvSink) Row(cells []Cell) error {
	for i := range cells {
		c := &cells[i]
		switch {
		case !c.Set:
			s.row[i] = ""
		case s.columns[i].Kind == Text:
			s.row[i] = c.Text
		case s.columns[i].Kind == Number:
			s.row[i] = strconv.FormatFloat(c.Number, 'g', -1, 64)
		case s.columns[i].Kind == Time:
			s.row[i] = time.Unix(0, c.Count).UTC().Format(timeLayout)
		default:
			s.row[i] = strconv.FormatInt(c.Count, 10)
		}
	}
	return s.out.Write(s.row)
}

func (s *csvSink) Close() error {
	s.out.Flush()
	if err := s.out.Error(); err != nil {
		return err
	}
	return s.buf.Flush()
}
