package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"proofpot/cmd/proofpot/benchfile"
	"proofpot/rig/record"
	"proofpot/rig/setup"
)

type setupCmd struct {
	Bench   string `help:"The bench file to write, or one that is there, to prove it." default:"bench.toml" placeholder:"BENCH.TOML"`
	Answers string `help:"Take the answers from a file, lines of key: answer, instead of asking." placeholder:"FILE"`
	stateFlag
	Records     string        `help:"Folder for records." default:"records"`
	Acknowledge bool          `help:"The cautions have been read (a script's answer to the question)."`
	Wait        time.Duration `help:"How long to wait for the lid switch and the emergency stop to be operated." default:"2m"`
	Read        time.Duration `help:"How long to read the sensors at open vent; the noise takes 20 s." default:"25s"`
	Only        bool          `help:"Write the bench file and end; prove nothing."`
	Blank       string        `help:"Profile of the blank; a shorter one knows the bench's leak less well." default:"blank-30m-sea" placeholder:"PROFILE"`

	parts  []busPart // on the I2C buses, once they were asked
	sample string    // a line that came from the transducer's port
}

// Help is shown by proofpot setup --help.
func (setupCmd) Help() string {
	return `Asks what the bench is, finds ports and chips, and writes a bench file with every line explained. Then it proves the
bench step by step: the reading at open vent, lid, stop and vent, the blank, the stiffness; and says what leak the bench
can tell from none. Each step may be left out (type no) and taken up again: start it once more and it goes on where it
was left. Nothing is pressurised before the cautions are acknowledged. All of it can be done by hand: the file, then
proofpot sensors, preflight, blank, stiffness and plan.

With --answers the file has a line for each question, "rated_bar_gauge: 8.0"; a question that it does not answer takes
its usual answer, and one without is an error.

Example: proofpot setup --answers answers.txt --only`
}

// Run asks, writes and proves.
func (c *setupCmd) Run(w *world) error {
	w.in = newTypedLines(w.in)
	if _, err := os.Stat(c.Bench); err == nil {
		fmt.Fprintf(w.out, "%s is there already and stays as it is; to be asked again, move it away\n", c.Bench)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	} else if err := c.write(w); err != nil {
		return err
	}
	bench, err := setup.LoadBench(c.Bench)
	if err != nil {
		return err
	}
	if c.Only {
		fmt.Fprintf(w.out, "next: proofpot setup --bench %s goes on with proving it\n", c.Bench)
		return nil
	}
	return c.prove(w, bench)
}

// draftFile keeps what was answered so far.
func (c *setupCmd) draftFile() string { return strings.TrimSuffix(c.Bench, ".toml") + ".answers" }

// write asks for what the bench file must say, and writes it.
func (c *setupCmd) write(w *world) error {
	answers, err := c.ask(w)
	if err != nil {
		return err
	}
	text := benchfile.Text(answers, 0)
	if _, err := setup.ParseBench(c.Bench, text); err != nil {
		return fmt.Errorf("these answers make no bench: %w; change them in %s and start again", err, c.draftFile())
	}
	if err := record.WriteWhole(c.Bench, text, 0o666); err != nil {
		return coded{exitBench, err}
	}
	fmt.Fprintf(w.out, "%s is written; every line of it is explained there\n", c.Bench)
	if c.Answers == "" {
		_ = os.Remove(c.draftFile()) // no longer of use
	}
	return nil
}

// ask goes through the questions.
func (c *setupCmd) ask(w *world) (benchfile.Answers, error) {
	answers, before := benchfile.Answers{}, benchfile.Answers{}
	source := c.Answers
	if source == "" {
		source = c.draftFile()
	}
	switch data, err := os.ReadFile(source); {
	case err == nil:
		if before, err = benchfile.ParseAnswers(source, data); err != nil {
			return nil, err
		}
	case c.Answers != "" || !errors.Is(err, fs.ErrNotExist):
		return nil, err
	}
	if c.Answers == "" {
		fmt.Fprintln(w.errs, "Enter takes what stands in brackets; - is for what there is not or is not known; Ctrl-C keeps what was answered.")
		if len(before) > 0 {
			fmt.Fprintf(w.errs, "%s has the answers of last time.\n", source)
		}
	}
	lines := bufio.NewScanner(w.in)
	for _, q := range benchfile.Questions {
		if !q.Applies(answers) {
			continue
		}
		c.found(w, &q, answers)
		if old, ok := before[q.Key]; ok {
			q.Default = old
		}
		for {
			typed := ""
			if c.Answers == "" {
				fmt.Fprint(w.errs, prompted(q))
				if !lines.Scan() || w.ctx.Err() != nil {
					return nil, coded{exitStopped, fmt.Errorf("stopped at the question %q; what was answered is kept in %s: start proofpot setup again", q.Key, c.draftFile())}
				}
				typed = lines.Text()
			}
			checked, err := q.Check(typed, answers)
			if err == nil {
				answers[q.Key] = checked
				break
			}
			if c.Answers != "" {
				return nil, fmt.Errorf("%s: %s: %w", c.Answers, q.Key, err)
			}
			fmt.Fprintf(w.errs, "  %v\n", err)
		}
		if c.Answers == "" {
			if err := record.WriteWhole(c.draftFile(), benchfile.EncodeAnswers(answers), 0o666); err != nil {
				return nil, coded{exitBench, err}
			}
		}
	}
	return answers, nil
}

func prompted(q benchfile.Question) string {
	text := q.Text
	if q.Unit != "" {
		text += ", " + q.Unit
	}
	if q.One != nil {
		text += " (" + strings.Join(q.One, ", ") + ")"
	}
	if q.Default != "" {
		text += " [" + q.Default + "]"
	}
	return text + ": "
}

// typedLines gives what is typed a line at a time, so that whoever reads takes no answer
// that is meant for the next; who has it for a while (until) reads its end when that is over.
type typedLines struct {
	lines <-chan []byte // closed at the end
	over  <-chan struct{}
	rest  []byte
}

func newTypedLines(from io.Reader) *typedLines {
	lines := make(chan []byte)
	go func() {
		defer close(lines)
		for r := bufio.NewReader(from); ; {
			line, err := r.ReadBytes('\n')
			if len(line) > 0 {
				lines <- line
			}
			if err != nil {
				return
			}
		}
	}()
	return &typedLines{lines: lines}
}

// until lends the lines out; what is typed after over is closed stays for the lender.
func (r *typedLines) until(over <-chan struct{}) *typedLines {
	return &typedLines{lines: r.lines, over: over}
}

// Read gives at most what is left of a line.
func (r *typedLines) Read(p []byte) (int, error) {
	if len(r.rest) == 0 {
		select {
		case <-r.over:
			return 0, io.EOF
		default:
		}
		select {
		case <-r.over:
			return 0, io.EOF
		case line, more := <-r.lines:
			if !more {
				return 0, io.EOF
			}
			r.rest = line
		}
	}
	n := copy(p, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}

var _ io.Reader = (*typedLines)(nil)
