package benchstate

import (
	"os"
	"strconv"
	"strings"
)

// Boot tells one start of the machine from the next, and how many seconds ago it
// was, by a clock that is never set. Linux only; elsewhere empty, and nothing is
// known (proc(5): random/boot_id, uptime).
func Boot() (id string, upS float64) {
	data, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil {
		return "", 0
	}
	up, err := os.ReadFile("/proc/uptime")
	if err != nil {
		return "", 0
	}
	first, _, _ := strings.Cut(string(up), " ")
	upS, err = strconv.ParseFloat(first, 64)
	if err != nil {
		return "", 0
	}
	return strings.TrimSpace(string(data)), upS
}
