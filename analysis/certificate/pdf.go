package certificate

import (
	"io"
	"strings"

	"proofpot/analysis"
	"proofpot/analysis/certificate/paper"
	"proofpot/analysis/certificate/plots"
	"proofpot/analysis/certificate/words"
	"proofpot/rig/setup"
)

// WritePDF writes the certificate as PDF from the same content as Write. It
// writes either the whole document or, on an error that is not w's, nothing.
func WritePDF(w io.Writer, run setup.Run, r *analysis.Result, opts Options) error {
	page, err := compose(run, r, opts, paperSizes)
	if err != nil {
		return err
	}
	properties := paper.Properties{
		Title:    page.Title + ": " + page.Lang.F("unit %s", page.Unit) + ", " + page.Word,
		Subject:  page.Sentence,
		Author:   page.Letterhead,
		Keywords: strings.ReplaceAll(page.Code.Caption, "\n", ", "),
		Creator:  "proofpot " + page.Version,
		Language: page.Lang.Tag(),
		Written:  opts.Generated,
		Foot:     page.Foot,
		Sheet:    sheets[opts.Paper].size,
		PageOf:   page.Lang.T(pageOf),
	}
	// The largest text with which it takes two sheets, or else the largest.
	var out *paper.Paper
	for _, t := range textSizes {
		tried := paper.New(properties)
		page.print(tried, t)
		if out == nil || tried.Pages() <= 2 {
			out = tried
		}
		if tried.Pages() <= 2 {
			break
		}
	}
	_, err = out.WriteTo(w)
	return err
}

// paperSizes are lower than those of the page for a screen: with them a usual
// certificate takes two sheets.
var paperSizes = sizes{
	wide:  plots.Size{Width: plots.Wide.Width, Height: 146},
	half:  plots.Size{Width: plots.Half.Width, Height: 118},
	strip: plots.Size{Width: plots.Strip.Width, Height: 92},
}

// textSize is the size of the text, and of that in tables, points.
type textSize struct{ body, small float64 }

var textSizes = []textSize{{7.5, 6.6}, {7, 6.2}, {6.6, 6}}

// sheet is a page on its way to paper.
type sheet struct {
	*paper.Paper
	textSize
	words.Language
}

// print lays the page out, in the order of the template.
func (p *page) print(on *paper.Paper, size textSize) {
	s := &sheet{on, size, p.Lang}
	s.Font("", s.body)
	p.printHead(s)
	p.printVerdict(s)
	p.printFailure(s)
	p.printStages(s)
	p.printFigures(s)
	p.printPhotographs(s)
	s.Columns(0.5, func() {
		facts(s, "Unit and closure", p.Closure)
		facts(s, "Conditions", p.Readings)
		p.printBudget(s)
	}, func() {
		facts(s, "Claim", p.Claim)
		facts(s, "Bench", p.Bench)
		p.printPlan(s)
		facts(s, "Record and gaps", p.Whole)
		s.List(p.Gaps)
	})
	p.printSensors(s)
	p.printCauses(s)
	p.printEvents(s)
	sum := s.T("not computed")
	if len(p.Sum) > 0 {
		sum = strings.Join(p.Sum, " ")
	}
	s.Columns(0.5, func() {
		s.Heading(s.T("Limits of validity"))
		s.List(p.Limits)
		s.Heading(s.T("Fingerprint of the record"))
		s.Text(s.T("SHA-256 of readings.lp:")+" "+sum, paper.Ink)
	}, func() {
		s.Heading(s.T("Cautions"))
		s.List(p.Cautions)
	})
	s.Keep(func() {
		s.Heading(s.T("What one unit shows"))
		s.Text(p.Single, paper.Ink)
		s.Space(15)
		s.Columns(1.0/3, func() { signature(s, "Closed by, date") }, func() {
			s.Columns(0.5, func() { signature(s, "Tested by, date") }, func() { signature(s, "Checked by, date") })
		})
	})
}

func signature(s *sheet, text string) {
	s.Rule(0.6, paper.Ink)
	s.Text(s.T(text), paper.Soft)
}

func facts(s *sheet, heading string, list []fact) {
	s.Heading(s.T(heading))
	for _, f := range list {
		s.Fact(f.Name, f.Value, 0.27)
	}
}

func (p *page) printHead(s *sheet) {
	s.Columns(0.83, func() {
		if p.Letterhead != "" {
			s.Font("B", 8.5)
			s.Text(p.Letterhead, paper.Ink)
			s.Font("", s.body)
		}
		for _, line := range p.LetterheadLines {
			s.Text(line, paper.Soft)
		}
		s.Font("B", 15)
		s.Text(p.Title, paper.Ink)
		s.Font("", s.body)
		s.Space(2)
		s.Fact(s.T("Unit"), p.Unit, 0.17)
		s.Fact(s.T("Record"), p.Record, 0.17)
		s.Fact(s.T("Test started"), p.Started, 0.17)
		s.Fact(s.T("As of"), p.Made+"; proofpot "+p.Version, 0.17)
	}, func() {
		s.Picture(p.Code.Picture.Drawing)
	})
	s.Rule(1.2, paper.Ink)
	s.Space(5)
}

// strokes of the frame round the verdict: a pass, a fail and a doubt differ on
// paper without colour too.
var frames = map[string]struct {
	stroke float64
	dashed bool
}{"pass": {1.2, false}, "fail": {3.5, false}, "doubt": {1.5, true}}

func (p *page) printVerdict(s *sheet) {
	f := frames[p.Mark]
	s.Framed(f.stroke, f.dashed, func() {
		s.Font("B", 15)
		s.Text(strings.ToUpper(p.Word), paper.Ink)
		s.Font("B", 9.5)
		s.Text(p.Sentence, paper.Ink)
		if p.Show != "" {
			s.Text(p.Show, paper.Ink)
		}
		s.Font("", s.body)
		for _, d := range p.Depths {
			s.Fact(d.Name, d.Value, 0.17)
		}
		if len(p.Reasons) > 0 {
			s.Space(2)
			s.List(p.Reasons)
		}
		s.Space(2)
		s.Font("", s.small)
		s.Text(s.T("Decision rule.")+" "+p.Rule, paper.Soft)
		s.Font("", s.body)
	})
	if len(p.Quarantine) > 0 {
		s.Space(4)
		s.Framed(2, false, func() {
			s.Font("B", 10)
			s.Text(s.T("Batteries"), paper.Ink)
			s.Font("", s.body)
			s.List(p.Quarantine)
		})
	}
}

func (p *page) printFailure(s *sheet) {
	if f := p.Failure; f != nil {
		s.Keep(func() {
			s.Heading(s.T("Where it began to fail"))
			s.Fact(s.T("Depth"), s.F("%s (95 %%: %s)", f.Depth, f.DepthRange), 0.2)
			s.Fact(s.T("Time"), s.F("%s; 95 %%: %s", f.Time, f.TimeRange), 0.2)
			s.Fact(s.T("Last hold that passed before"), f.LastTight, 0.2)
			s.Fact(s.T("Mode"), f.Mode+". "+f.Plain, 0.2)
			s.Fact(s.T("Evidence"), strings.Join(f.Evidence, "; "), 0.2)
			s.Fact(s.T("Where to look first"), strings.Join(f.Look, "; "), 0.2)
			s.Fact(s.T("What to try"), strings.Join(f.Try, "; "), 0.2)
		})
	}
	if len(p.Settle) > 0 {
		s.Keep(func() {
			s.Heading(s.T("What would settle it"))
			s.List(p.Settle)
		})
	}
}

// section prints what there is of something below its heading, in small letters, or
// says that there is none.
func (s *sheet) section(heading, none string, count int, do func()) {
	s.Heading(s.T(heading))
	if count == 0 {
		s.Text(s.T(none), paper.Ink)
		return
	}
	s.Font("", s.small)
	do()
	s.Font("", s.body)
}

func (p *page) printStages(s *sheet) {
	s.section("Result of each stage", "No hold was measured.", len(p.Stages), func() { p.stageTable(s) })
}

func (p *page) stageTable(s *sheet) {
	s.Text(s.T("Measuring windows in order of time; h:mm:ss counts from the start, pressures are those set. Bounds are 95 %, rounded outwards; leak in ml of liquid water an hour."), paper.Soft)
	s.Space(2)
	var rows []paper.Row
	for _, r := range p.Stages {
		rows = append(rows, paper.Row{Cells: []string{strings.TrimSpace(r.Stage + " " + r.Name), r.Depth, r.Absolute, r.Gauge, r.Window, r.Leak,
			r.Detection, r.Moisture, r.Verdict}, Bold: []bool{8: true}})
		if len(r.Reasons) > 0 {
			rows = append(rows, paper.Row{Note: strings.Join(r.Reasons, "; ")})
		}
	}
	s.Table([]paper.Column{{Title: s.T("Stage"), Share: 12}, {Title: s.T("Depth"), Share: 6}, {Title: s.T("Absolute"), Share: 8}, {Title: s.T("Gauge"), Share: 8},
		{Title: s.T("Measuring window"), Share: 14}, {Title: s.T("Leak (bounds), ml/h"), Share: 18}, {Title: s.T("Detection limit, ml/h"), Share: 12},
		{Title: s.T("Moisture (bounds), mg/h"), Share: 17}, {Title: s.T("Verdict"), Share: 12}}, rows)
	if p.MoreStages != "" {
		s.Text(p.MoreStages, paper.Ink)
	}
}

func (p *page) printFigures(s *sheet) {
	s.Keep(func() {
		s.Heading(s.T("Pictures"))
		if len(p.Figures) == 0 {
			s.Text(s.T("The record holds no reading that could be drawn."), paper.Ink)
		}
	})
	one := func(f figure) func() {
		return func() {
			s.Picture(f.Picture.Drawing)
			s.Font("", s.small)
			s.Text(f.Caption, paper.Soft)
			s.Font("", s.body)
			s.Space(4)
		}
	}
	for i := 0; i < len(p.Figures); i++ {
		if f := p.Figures[i]; f.Class == "half" && i+1 < len(p.Figures) && p.Figures[i+1].Class == "half" {
			s.Columns(0.5, one(f), one(p.Figures[i+1]))
			i++
			continue
		}
		s.Keep(one(p.Figures[i]))
	}
}

func (p *page) printSensors(s *sheet) {
	s.section("Equipment and calibration", "Sensors: not stated.", len(p.Sensors), func() {
		var rows []paper.Row
		for _, r := range p.Sensors {
			rows = append(rows, paper.Row{Cells: []string{r.ID, r.Measures, r.Noise, r.Accuracy, r.Driver, r.Calibrated}})
		}
		s.Table([]paper.Column{{Title: s.T("Sensor"), Share: 10}, {Title: s.T("Measures"), Share: 22}, {Title: s.T("Noise, 1 s.d."), Share: 17},
			{Title: s.T("Accuracy"), Share: 13}, {Title: s.T("Read by"), Share: 13}, {Title: s.T("Calibrated"), Share: 31}}, rows)
	})
}

func (p *page) printPlan(s *sheet) {
	s.Heading(s.T("Plan"))
	s.Text(p.PlanNote, paper.Ink)
	if len(p.Plan) == 0 {
		return
	}
	s.Font("", s.small)
	var rows []paper.Row
	for _, r := range p.Plan {
		rows = append(rows, paper.Row{Cells: []string{r.Stage + " " + r.Name, r.Depth, r.Settle, r.Hold, r.Cycles}})
	}
	s.Table([]paper.Column{{Title: s.T("Stage"), Share: 36}, {Title: s.T("Depth"), Share: 17}, {Title: s.T("Settle"), Share: 20}, {Title: s.T("Hold"), Share: 20}, {Title: s.T("Times"), Share: 12}}, rows)
	s.Font("", s.body)
}

func (p *page) printBudget(s *sheet) {
	s.section("Uncertainty in brief", "The result carries no budget.", len(p.Budget), func() {
		s.Text(s.T("Leak rate of the deciding hold, standard uncertainties in ml/h"), paper.Soft)
		var rows []paper.Row
		for _, r := range p.Budget {
			rows = append(rows, paper.Row{Cells: []string{r.Source, r.Value, r.Remarks}})
		}
		rows = append(rows, paper.Row{Cells: []string{s.T("combined"), p.Combined, s.T("root of the sum of squares")}, Bold: []bool{true, true, true}})
		s.Table([]paper.Column{{Title: s.T("Source"), Share: 35}, {Title: "ml/h", Share: 15}, {Title: s.T("Remarks"), Share: 50}}, rows)
	})
}

func (p *page) printCauses(s *sheet) {
	points := func(list []string) string {
		if len(list) == 0 {
			return s.T("nothing")
		}
		return strings.Join(list, "; ")
	}
	s.section("Explanations considered", "The result carries no explanations.", len(p.Causes), func() {
		for _, c := range p.Causes {
			s.Keep(func() {
				s.Font("B", s.small)
				s.Text(c.Name+": "+c.Standing, paper.Ink)
				s.Font("", s.small)
				s.Inset(8, func() {
					s.Text(s.F("For it: %s. Against it: %s.", points(c.For), points(c.Against)), paper.Ink)
					if c.Experiment != "" {
						s.Text(s.F("Test: %s", c.Experiment), paper.Ink)
					}
				})
				s.Space(1.5)
			})
		}
	})
}

func (p *page) printEvents(s *sheet) {
	s.section("Events and deviations", "No events were recorded.", len(p.Events), func() {
		var rows []paper.Row
		for _, e := range p.Events {
			rows = append(rows, paper.Row{Cells: []string{e.Time, e.Kind, e.Text}})
		}
		s.Table([]paper.Column{{Title: s.T("Since start"), Share: 10}, {Title: s.T("Kind"), Share: 10}, {Title: s.T("What"), Share: 80}}, rows)
		if p.More != "" {
			s.Text(p.More, paper.Ink)
		}
	})
}
