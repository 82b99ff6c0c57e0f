// Package certificate writes the certificate of a test: one HTML file that
// holds everything it shows, text, tables and pictures, for a screen and for
// paper. It decides nothing. It prints what the analysis found, in plain words,
// with the limits within which that is true, and refuses to print a result that
// contradicts itself. The same run, result and options give the same bytes.
package certificate

import (
	"bytes"
	"crypto/sha256"
	_ "embed" // the template and its style
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"time"

	"proofpot/analysis"
	"proofpot/analysis/certificate/paper"
	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/certificate/units"
	"proofpot/analysis/certificate/words"
	"proofpot/rig/setup"
)

// Options is what a certificate takes from outside the record.
type Options struct {
	Letterhead      string   // the name of whoever tests
	LetterheadLines []string // address and the like, one a line
	Depth           units.Depth
	Pressure        units.Pressure
	Language        words.Language   // none: English
	Paper           string           // A4 or letter; none: A4
	Version         string           // of the program
	Generated       time.Time        // the end of the record, by which the certificate is dated
	SHA256          string           // of readings.lp, in hex; empty: not computed
	Photographs     []Shown          // that the record notes
	Chamber, Inside []analysis.Point // pressures as read within plots.MomentSpan of a first failure; may be empty
}

// ErrContradiction says that a result cannot be right as it stands, so that
// nothing is printed that a reader might trust.
var ErrContradiction = errors.New("result contradicts itself")

var (
	//go:embed certificate.html
	pageText string
	//go:embed certificate.css
	styleText string

	pageTemplate = template.Must(template.New("certificate").Parse(pageText))
)

// Write writes the certificate of a result. It writes either the whole document
// or, on an error that is not w's, nothing.
func Write(w io.Writer, run setup.Run, r *analysis.Result, opts Options) error {
	page, err := compose(run, r, opts, sizes{plots.Wide, plots.Half, plots.Strip})
	if err != nil {
		return err
	}
	style := strings.TrimSpace(styleText) + "\n" + footStyle(page.Foot, page.Lang.T(pageOf), sheets[opts.Paper].css)
	sum := sha256.Sum256([]byte(style))
	page.Style = template.CSS(style)
	page.Policy = "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) +
		"'; base-uri 'none'; form-action 'none'"
	if len(page.Photographs) > 0 {
		page.Policy += "; img-src data:"
	}
	var out bytes.Buffer
	if err := pageTemplate.Execute(&out, page); err != nil {
		return fmt.Errorf("certificate: %w", err)
	}
	_, err = w.Write(out.Bytes())
	return err
}

// sheets are the sizes of paper, with what CSS calls them.
var sheets = map[string]struct {
	size paper.Size
	css  string
}{"": {paper.A4, "A4"}, "A4": {paper.A4, "A4"}, "letter": {paper.Letter, "letter"}}

// CheckPaper refuses a size of paper that is not known.
func (o Options) CheckPaper() error {
	if _, known := sheets[o.Paper]; !known {
		return fmt.Errorf("unknown paper %q: want A4 or letter", o.Paper)
	}
	return nil
}

// pen is what the options make of the reader's units and language.
func (o Options) pen() (pen, error) {
	s, err := units.System{Depth: o.Depth, Pressure: o.Pressure, Language: o.Language}.Check()
	return pen{s}, err
}

// compose gathers all that a certificate prints, whatever it is printed on.
func compose(run setup.Run, r *analysis.Result, opts Options, in sizes) (*page, error) {
	u, err := opts.pen()
	if err == nil {
		err = opts.CheckPaper()
	}
	if err != nil {
		return nil, fmt.Errorf("certificate: %w", err)
	}
	if opts.SHA256 != "" {
		if sum, err := hex.DecodeString(opts.SHA256); err != nil || len(sum) != sha256.Size {
			return nil, fmt.Errorf("certificate: fingerprint %q is not 64 hex digits", opts.SHA256)
		}
	}
	if err := contradiction(run, r); err != nil {
		return nil, fmt.Errorf("certificate: %w", err)
	}
	page := newPage(run, r, opts, u)
	cleanStrings(page)
	if page.Figures, err = figures(run, r, opts, u, in); err != nil {
		return nil, fmt.Errorf("certificate: %w", err)
	}
	page.Photographs, page.MorePhotographs = u.photographs(opts.Photographs, plots.Start(r))
	page.Code.Caption = u.codeText(run, r, opts)
	if page.Code.Picture, err = plots.Code(page.Code.Caption, codeSide, u.System); err != nil {
		return nil, fmt.Errorf("certificate: %w", err)
	}
	return page, nil
}

// contradiction refuses a pass that its own particulars do not carry.
func contradiction(run setup.Run, r *analysis.Result) error {
	v := &r.Verdict
	if v.Verdict != analysis.Pass {
		return nil
	}
	refuse := func(format string, args ...any) error {
		return fmt.Errorf("%w: verdict is pass, but %s", ErrContradiction, fmt.Sprintf(format, args...))
	}
	if v.FirstFailure != nil {
		return refuse("a first failure is given")
	}
	if !v.Integrity.Intact {
		return refuse("the record is not intact")
	}
	if len(v.Holds) == 0 {
		return refuse("no hold was measured")
	}
	for _, h := range v.Holds {
		if h.Verdict == analysis.Fail {
			return refuse("stage %d failed", h.Stage)
		}
	}
	check := len(run.Profile.Stages) > 0 && run.Profile.RatedM() == 0 // a vacuum check, say: it proves no depth
	if !check && !(v.ProvedDepthM > 0) || math.IsInf(v.ProvedDepthM, 0) {
		return refuse("no depth is proved")
	}
	if !(v.RatedDepthM >= 0) || v.RatedDepthM > v.ProvedDepthM {
		return refuse("the rated depth of %g m is not within the proved %g m", v.RatedDepthM, v.ProvedDepthM)
	}
	return nil
}

// figure is one picture with what stands below it.
type figure struct {
	Class   string
	Picture *plots.Picture
	Caption string
}

// SVG is the picture as part of a page.
func (f figure) SVG() template.HTML { return template.HTML(f.Picture.SVG()) }

// sizes are those of the pictures: across the page, half of it, and low.
type sizes struct{ wide, half, strip plots.Size }

// figures draws what was measured and leaves out what was not.
func figures(run setup.Run, r *analysis.Result, opts Options, u pen, in sizes) ([]figure, error) {
	type draw func(setup.Run, *analysis.Result, units.System, plots.Size) (*plots.Picture, error)
	small := in.half
	inside := min(len(r.Curves.AbsHumidityGM3)+len(r.Curves.InsideRHPct), 1) + min(len(r.Curves.InsidePa), 1)
	leak, leakClass := small, "half"
	moment := func(_ setup.Run, r *analysis.Result, u units.System, size plots.Size) (*plots.Picture, error) {
		return plots.Moment(r.Verdict.FirstFailure, opts.Chamber, opts.Inside, u, size)
	}
	zoomed := r.Verdict.FirstFailure != nil && len(opts.Chamber)+len(opts.Inside) > 1
	if len(r.Verdict.Holds) > 9 || inside != 1 && !zoomed {
		leak, leakClass = in.strip, "wide"
	}
	insideClass := "half"
	if inside == 1 && leakClass == "wide" {
		small, insideClass = in.strip, "wide"
		small.Height = in.half.Height
	}
	var drawn []figure
	for _, one := range []struct {
		draw    draw
		size    plots.Size
		class   string
		caption string
	}{
		{plots.Pressure, in.wide, "wide", "Pressure in the chamber. Above: as read, with the pressure that a tight unit would have shown. " +
			"Below: Δ, the first less the second, where a leak shows as a fall. Time counts from the start of the test."},
		{plots.Leak, leak, leakClass, "Leak rate of each hold with its 95 % bounds, in ml of liquid water an hour. " +
			"A hold passes where the upper bound lies below the limit."},
		{moment, in.half, "half", "The moment it began to fail, as read. Between the dashed lines it began, with 95 % confidence."},
		{plots.Humidity, small, insideClass, "Humidity inside. Absolute humidity changes only when water enters or leaves the air; " +
			"relative humidity also moves with temperature. Where the dew point meets the temperature of the wall, the unit fogs."},
		{plots.InsidePressure, small, insideClass, "Pressure inside. What enters squeezes the air inside; so do cooling and warming, and creep of the walls."},
	} {
		picture, err := one.draw(run, r, u.System, one.size)
		if errors.Is(err, plots.ErrNoData) {
			continue
		}
		if err != nil {
			return nil, err
		}
		drawn = append(drawn, figure{Class: one.class, Picture: picture, Caption: u.T(one.caption)})
	}
	return drawn, nil
}

// pageOf counts the pages at their foot.
const pageOf = "page %d of %s"

// footStyle names record and unit at the foot of every printed page, and counts them.
func footStyle(text, of, paper string) string {
	before, after, _ := strings.Cut(of, "%d")
	middle, after, _ := strings.Cut(after, "%s")
	return "@page { size: " + paper + "; @bottom-left { content: \"" + cssString(text) + "\" } @bottom-right { content: \"" + cssString(before) +
		"\" counter(page) \"" + cssString(middle) + "\" counter(pages) \"" + cssString(after) + "\" } }\n"
}

// cssString writes text for a CSS string with everything but letters and digits
// as an escape, so that nothing in a name can end the string.
func cssString(text string) string {
	var b strings.Builder
	for _, r := range text {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, "\\%06x", r)
		}
	}
	return b.String()
}
