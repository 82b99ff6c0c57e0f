package setup

import (
	"strings"
)

// DriverFileLine is the driver of another logger's output: lines in a file that
// grows, a named pipe or standard input.
const DriverFileLine = "file-line"

func (s *Sensor) checkFileLine(key func(string) string) error {
	if strings.TrimSpace(s.Path) == "" {
		return wrong(key("path"), "no file; give the path of a file that grows or of a named pipe, or \"-\" for standard input")
	}
	if s.Port != "" || s.Baud != 0 {
		return wrong(key("port"), "a file has no port; leave out port and baud")
	}
	return s.checkTextLine(key)
}
