package textline

// MaxLine is the longest line in bytes, without its end. What is longer is
// thrown away up to its end, and reported.
const MaxLine = 1024

// Splitter cuts a stream of bytes into lines that end with LF, CR or both. It
// holds at most MaxLine bytes whatever arrives. What comes before the first
// line end is the tail of a line whose start was not seen, and is dropped: half
// a number reads like a number.
type Splitter struct {
	line    []byte
	started bool // a line end has been seen
	cut     bool // the line at hand is too long and is being dropped
}

// Feed passes each line that p completes to take, without its end and without
// empty ones. A line that is too long is passed once, when it becomes so, with
// tooLong set and its first MaxLine bytes. The bytes are valid during the call.
func (s *Splitter) Feed(p []byte, take func(line []byte, tooLong bool)) {
	for _, b := range p {
		switch {
		case b == '\n' || b == '\r':
			if s.started && !s.cut && len(s.line) > 0 {
				take(s.line, false)
			}
			s.line, s.started, s.cut = s.line[:0], true, false
		case !s.started || s.cut:
		case len(s.line) == MaxLine:
			take(s.line, true)
			s.line, s.cut = s.line[:0], true
		default:
			s.line = append(s.line, b)
		}
	}
}

// Reset forgets the line at hand: the port was closed and opened again.
func (s *Splitter) Reset() { s.line, s.started, s.cut = s.line[:0], false, false }
