package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"proofpot/analysis"
	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/certificate/units"
	"proofpot/rig/record"
	"proofpot/rig/record/export"
	"proofpot/rig/setup"
)

type exportCmd struct {
	house
	Records []string `arg:"" name:"record" help:"Folders of records." placeholder:"RECORD"`
	CSV     bool     `name:"csv" help:"As CSV."`
	Parquet bool     `help:"As Parquet."`
	LP      bool     `name:"lp" help:"As line protocol, in the unit of time of --time."`
	Plots   bool     `help:"The certificate's pictures, as SVG."`
	Shape   []string `help:"Of a table: wide (a row for each moment, a column for each quantity of each sensor), long (a row for each value)." enum:"wide,long" default:"wide"`
	Time    string   `help:"Unit of time of line protocol; what is finer is cut off." enum:"ns,us,ms,s" default:"ms"`
	To      string   `help:"Folder to write into." default:"." placeholder:"FOLDER"`
}

// Run writes what is asked for of each record and prints the files' names.
func (c *exportCmd) Run(w *world) error {
	defer sparing()()
	if !c.CSV && !c.Parquet && !c.LP && !c.Plots {
		return errors.New("say as what: --csv, --parquet, --lp, --plots")
	}
	if err := os.MkdirAll(c.To, 0o777); err != nil {
		return err
	}
	for _, folder := range c.Records {
		if err := c.export(w, folder); err != nil {
			return err
		}
	}
	return nil
}

func (c *exportCmd) export(w *world, folder string) error {
	r, err := record.Open(folder)
	if err != nil {
		return err
	}
	base := filepath.Join(c.To, r.Name)
	run := r.Run
	r.Close()
	for _, shape := range c.Shape {
		if c.CSV {
			if err := c.table(w, folder, shape, base+"-"+shape+".csv", export.CSV); err != nil {
				return err
			}
		}
		if c.Parquet {
			if err := c.table(w, folder, shape, base+"-"+shape+".parquet", export.Parquet); err != nil {
				return err
			}
		}
	}
	if c.LP {
		err := whole(w, base+"-"+c.Time+".lp", func(out io.Writer) error {
			in, err := record.OpenReadings(folder)
			if err != nil {
				return err
			}
			defer in.Close()
			_, problems, err := export.LineProtocol(in, out, c.Time)
			if problems > 0 {
				fmt.Fprintf(w.errs, "%s: not intact, %d problems: proofpot verify names them\n", folder, problems)
			}
			return err
		})
		if err != nil {
			return err
		}
	}
	if c.Plots {
		return c.pictures(w, folder, base, run)
	}
	return nil
}

// table writes one table. Its columns are found by reading the record once before.
func (c *exportCmd) table(w *world, folder, shape, name string, format func(io.Writer, []export.Column) (export.Sink, error)) error {
	columns, write := export.LongColumns, export.Long
	if shape == "wide" {
		r, err := record.OpenWithInside(folder)
		if err != nil {
			return err
		}
		wide, err := export.NewWide(r)
		if err = errors.Join(err, r.Close()); err != nil {
			return fmt.Errorf("%s: %w", folder, err)
		}
		columns, write = wide.Columns, wide.Write
	}
	return whole(w, name, func(out io.Writer) error {
		r, err := record.OpenWithInside(folder)
		if err != nil {
			return err
		}
		defer r.Close()
		sink, err := format(out, columns)
		if err != nil {
			return err
		}
		if err := write(r, sink); err != nil {
			return fmt.Errorf("%s: %w", folder, err)
		}
		if in := r.Integrity(); !in.Intact {
			fmt.Fprintf(w.errs, "%s: not intact, %s (of %d problems)\n", folder, in.Problems[0], in.Count)
		}
		return sink.Close()
	})
}

// whole writes a file wholly or not at all, and prints its name.
func whole(w *world, name string, write func(io.Writer) error) error {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+".*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // does nothing once renamed
	err = errors.Join(write(f), f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err == nil {
		fmt.Fprintln(w.out, name)
	}
	return err
}

func (c *exportCmd) pictures(w *world, folder, base string, run setup.Run) error {
	opts, err := c.options()
	if err != nil {
		return err
	}
	system, err := units.System{Depth: opts.Depth, Pressure: opts.Pressure, Language: opts.Language}.Check()
	if err != nil {
		return err
	}
	res, _, err := analyse(folder)
	if err != nil {
		return err
	}
	chamber, inside, err := around(folder, res.Verdict.FirstFailure)
	if err != nil {
		return err
	}
	type draw func(setup.Run, *analysis.Result, units.System, plots.Size) (*plots.Picture, error)
	for _, one := range []struct {
		name string
		draw draw
		size plots.Size
	}{
		{"pressure", plots.Pressure, plots.Wide},
		{"leak", plots.Leak, plots.Wide},
		{"humidity", plots.Humidity, plots.Wide},
		{"inside", plots.InsidePressure, plots.Wide},
		{"failure", func(_ setup.Run, r *analysis.Result, u units.System, size plots.Size) (*plots.Picture, error) {
			if r.Verdict.FirstFailure == nil || len(chamber)+len(inside) < 2 {
				return nil, plots.ErrNoData
			}
			return plots.Moment(r.Verdict.FirstFailure, chamber, inside, u, size)
		}, plots.Wide},
	} {
		p, err := one.draw(run, res, system, one.size)
		if errors.Is(err, plots.ErrNoData) {
			continue
		}
		if err != nil {
			return err
		}
		if err := whole(w, base+"-"+one.name+".svg", func(out io.Writer) error {
			_, err := out.Write(p.SVG())
			return err
		}); err != nil {
			return err
		}
	}
	return nil
}
