// Command proofpot runs a bench pressure-pot rig and says whether a housing is
// tight, how deep it was proved, and where it first failed.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/alecthomas/kong"

	"proofpot/cmd/proofpot/page"
)

// Exit codes, the same for every verb but analyse, which exits 0 whatever the verdict.
const (
	exitDone    = 0 // done, and the answer is yes
	exitNo      = 1 // the answer is no: failed or inconclusive test, broken chain
	exitUsage   = 2 // wrong use, or input that cannot be read
	exitBench   = 3 // the bench or a device failed
	exitStopped = 4 // stopped by the operator
)

// answer ends a verb with an exit code; what there is to say has been said.
type answer int

func (a answer) Error() string { return fmt.Sprintf("exit code %d", int(a)) }

// coded is an error with its exit code.
type coded struct {
	code int
	err  error
}

func (c coded) Error() string { return c.err.Error() }
func (c coded) Unwrap() error { return c.err }

// world is what a verb sees of the outside.
type world struct {
	ctx    context.Context
	in     io.Reader
	out    io.Writer
	errs   io.Writer
	inTTY  bool       // a person answers
	errTTY bool       // a person watches
	width  func() int // of his terminal, in columns; nil where there is none

	tell    *teller       // of those elsewhere; or nil
	screen  bool          // the run is shown on the whole terminal
	alive   *alive        // the service manager, or nil
	console *page.Console // the operator's page, where the run is shown and commanded there; or nil
}

type commands struct {
	Run         runCmd         `cmd:"" help:"Run a staged test on a bench, or on the simulated one, and give a verdict."`
	Serve       serveCmd       `cmd:"" help:"Serve the operator's page: what the bench does, and one touch to stop it."`
	Plan        planCmd        `cmd:"" help:"Say what a run would do, and what it could prove on this bench."`
	Analyse     analyseCmd     `cmd:"" help:"Analyse records and write verdict.json beside each."`
	Certificate certificateCmd `cmd:"" help:"Make the certificate of a record, with its pictures."`
	Resume      resumeCmd      `cmd:"" help:"Go on with a run that a power cut or a crash cut off, in the same record."`
	Preflight   preflightCmd   `cmd:"" help:"Go through what must be so before anything moves on a bench."`
	Blank       blankCmd       `cmd:"" help:"Run a profile with no unit and find what the bench itself leaks."`
	Stiffness   stiffnessCmd   `cmd:"" help:"Find how much chamber and water give way, and the free gas, from a pressure-volume curve."`
	KnownLeak   knownLeakCmd   `cmd:"" help:"Run with a metered bleed and see whether the analysis recovers it."`
	Acknowledge acknowledgeCmd `cmd:"" help:"End a bench's lock-out after a trip, once its reason is dealt with."`
	Records     recordsCmd     `cmd:"" help:"List records, find them by unit, variant, verdict, depth or date, and compress old ones."`
	Verify      verifyCmd      `cmd:"" help:"Check that records are whole and unaltered."`
	Key         keyCmd         `cmd:"" help:"The key that a bench signs its records with."`
	Export      exportCmd      `cmd:"" help:"Write records as CSV, Parquet, line protocol in another unit of time, or pictures."`
	Forward     forwardCmd     `cmd:"" help:"Send records, live and old, to a time-series engine."`
	Replay      replayCmd      `cmd:"" help:"Feed a record to the sequencer again and compare its commands."`
	Depth       depthCmd       `cmd:"" help:"Convert a depth into a pressure, or a pressure into a depth."`
	Sensors     sensorsCmd     `cmd:"" help:"Show what sensors a computer has, or read those of a bench live."`
	Calibrate   calibrateCmd   `cmd:"" help:"Calibrate a pressure sensor against a barometer, a gauge or a column of water."`
	Merge       mergeCmd       `cmd:"" help:"Merge a logger that was inside the unit into a record, after the run."`
	Profiles    profilesCmd    `cmd:"" help:"List the built-in profiles, show one, or copy one as a start."`
	Unit        unitCmd        `cmd:"" help:"The register of units: closures, tests, dives, and whether a test still holds."`
	Trip        tripCmd        `cmd:"" help:"Say which units are fit for a trip, and which tests would make the others fit."`
	Compare     compareCmd     `cmd:"" help:"Compare variants by the depths at which their units first failed."`
	Rating      ratingCmd      `cmd:"" help:"Say how deep a variant may be used, from the tests of its units."`
	Demo        demoCmd        `cmd:"" help:"Build the season of an invented club to try everything on: invented data from the simulated bench."`
	Setup       setupCmd       `cmd:"" help:"Ask what a bench is, write its file, prove it step by step, and say what it can detect."`
	Doctor      doctorCmd      `cmd:"" help:"Say what is wrong with a bench, and the command that mends it."`
	Completion  completionCmd  `cmd:"" help:"Print the completions for a shell."`
	Man         manCmd         `cmd:"" help:"Print the man page, or write all of them."`
	Version     versionCmd     `cmd:"" help:"Say which version this is."`
}

// run is the whole program, but for the process around it.
func run(w world, args []string) int {
	var c commands
	exited := -1
	parser, err := kong.New(&c, kong.Name("proofpot"),
		kong.Description("Proves home-built dive gear dry on the bench before it goes into open water."),
		kong.Writers(w.out, w.errs), kong.Exit(func(code int) { exited = code }),
		kong.ConfigureHelp(kong.HelpOptions{Compact: true}), kong.Vars(helpVars()))
	if err != nil {
		fmt.Fprintln(w.errs, "proofpot:", err)
		return exitUsage
	}
	withExamples(parser.Model.Node)
	k, err := parser.Parse(args)
	if exited >= 0 { // --help has been shown
		return exited
	}
	if err != nil {
		fmt.Fprintf(w.errs, "proofpot: %v; proofpot --help lists what there is\n", err)
		return exitUsage
	}
	err = k.Run(&w)
	if err == nil {
		return exitDone
	}
	var said answer
	if errors.As(err, &said) {
		return int(said)
	}
	fmt.Fprintln(w.errs, "proofpot:", err)
	var failed coded
	if errors.As(err, &failed) {
		return failed.code
	}
	return exitUsage
}

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	code := run(world{
		ctx: ctx, in: os.Stdin, out: os.Stdout, errs: os.Stderr,
		inTTY: isTerminal(os.Stdin), errTTY: isTerminal(os.Stderr), width: func() int { return columns(os.Stderr) },
	}, os.Args[1:])
	stop()
	os.Exit(code)
}
