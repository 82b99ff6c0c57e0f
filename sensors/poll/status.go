package poll

import (
	"errors"

	"proofpot/sensors"
)

// StatusOf gives what an error of a part becomes: what Fault was told, or
// Disconnected for any other.
func StatusOf(err error) Status {
	var known *statusError
	if errors.As(err, &known) {
		return known.Status
	}
	return Status{sensors.Disconnected, err.Error()}
}
