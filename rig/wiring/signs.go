package wiring

import (
	"errors"
	"os"
	"time"

	"proofpot/rig/setup"
	"proofpot/rig/watchdog"
)

// signs tells those who watch over the process that its loop turns: the machine's
// own watchdog and the service manager's, each where there is one.
type signs struct {
	kernel  *watchdog.Kernel
	service *watchdog.Service
}

func openSigns(b setup.Bench) (s signs, err error) {
	if s.service, err = watchdog.OpenService(os.Getenv, os.Getpid()); err != nil {
		return signs{}, err
	}
	if b.Watchdog != nil {
		if s.kernel, err = watchdog.OpenKernel(b.Watchdog.Device); err != nil {
			return signs{}, errors.Join(err, s.service.Close())
		}
	}
	return s, nil
}

func (s signs) alive(now time.Time) (err error) {
	if s.kernel != nil {
		err = s.kernel.Alive()
	}
	return errors.Join(err, s.service.Alive(now))
}

func (s signs) close() (err error) {
	if s.kernel != nil {
		err = s.kernel.Close()
	}
	return errors.Join(err, s.service.Close())
}
