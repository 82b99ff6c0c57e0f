package main

import (
	"fmt"

	"proofpot/rig/record"
	"proofpot/rig/replay"
)

type replayCmd struct {
	Records []string `arg:"" name:"record" help:"Folders of records." placeholder:"RECORD"`
}

// Run replays each record. Different commands are the answer no.
func (c *replayCmd) Run(w *world) error {
	different := false
	for _, folder := range c.Records {
		r, err := record.Open(folder)
		if err != nil {
			return err
		}
		res, err := replay.Run(r)
		r.Close()
		if err != nil {
			return err
		}
		if res.Difference != "" {
			different = true
			fmt.Fprintf(w.out, "%s: DIFFERENT, %s\n", folder, res.Difference)
		} else {
			fmt.Fprintf(w.out, "%s: the same %d commands\n", folder, len(res.Recorded))
		}
	}
	if different {
		return answer(exitNo)
	}
	return nil
}
