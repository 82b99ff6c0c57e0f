package certificate

import (
	"encoding/base64"
	"errors"
	"html/template"
	"time"

	"proofpot/analysis/certificate/paper"
	"proofpot/analysis/certificate/photographs"
)

// Shown is a photograph as a certificate shows it.
type Shown struct {
	photographs.Photograph
	JPEG          []byte // small; none where Why says so
	Width, Height int    // pixels
	Why           error  // it is not shown
}

// ErrMissing says that a photograph which the record notes is not in its folder.
var ErrMissing = errors.New("it is missing")

// photograph is one with what stands below it.
type photograph struct {
	Shown
	Caption string
}

// Source is the photograph as an address within the page.
func (p photograph) Source() template.URL {
	if len(p.JPEG) == 0 {
		return ""
	}
	return template.URL("data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(p.JPEG))
}

const mostPhotographs = 6

// photographs gives what there is to show, and how many are not.
func (u pen) photographs(all []Shown, start time.Time) (out []photograph, more string) {
	for _, s := range all[:min(len(all), mostPhotographs)] {
		words := told(s.Words)
		if words == "" {
			words = u.T("photograph")
		}
		p := photograph{s, u.F("%s: %s (%s, SHA-256 %s…)", u.since(s.Time, start), words, s.Path, s.SHA256[:min(len(s.SHA256), 16)])}
		if s.Why != nil {
			why := "it cannot be read"
			for _, known := range []error{ErrMissing, photographs.ErrAltered, photographs.ErrTooMany} {
				if errors.Is(s.Why, known) {
					why = known.Error()
				}
			}
			p.Caption += ". " + u.F("Not shown: %s.", u.T(why))
		}
		out = append(out, p)
	}
	if left := len(all) - mostPhotographs; left > 0 {
		more = u.F("and %d more in the record", left)
	}
	return out, more
}

// printPhotographs prints them two in a row.
func (p *page) printPhotographs(s *sheet) {
	if len(p.Photographs) == 0 {
		return
	}
	one := func(i int) func() {
		return func() {
			if i >= len(p.Photographs) {
				return
			}
			photo := p.Photographs[i]
			s.Photograph(photo.SHA256, photo.JPEG, photo.Width, photo.Height)
			s.Font("", s.small)
			s.Text(photo.Caption, paper.Soft)
			s.Font("", s.body)
			s.Space(4)
		}
	}
	for i := 0; i < len(p.Photographs); i += 2 {
		s.Keep(func() {
			if i == 0 {
				s.Heading(s.T("Photographs"))
			}
			s.Columns(0.5, one(i), one(i+1))
		})
	}
	if p.MorePhotographs != "" {
		s.Text(p.MorePhotographs, paper.Ink)
	}
}
