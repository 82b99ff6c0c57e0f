// Package photographs finds the photographs that a record notes, and makes them
// small enough for a certificate. It reads no file.
package photographs

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	_ "image/png" // photographs may be PNG
	"regexp"
	"time"

	"proofpot/analysis"
)

// Photograph is one that was noted while the test ran.
type Photograph struct {
	Time   time.Time
	Path   string // in the record's folder
	SHA256 string // hex, as noted
	Words  string // what was said of it
}

var noted = regexp.MustCompile(`^photograph (photos/[0-9]{8}T[0-9]{6}Z-[0-9a-f]{8}\.(?:jpg|png)), sha256 ([0-9a-f]{64})(?:: (.*))?$`)

// Noted are the photographs that the events of a test tell of.
func Noted(events []analysis.Event) []Photograph {
	var all []Photograph
	for _, e := range events {
		if m := noted.FindStringSubmatch(e.Text); m != nil && e.Kind == "note" {
			all = append(all, Photograph{e.Time, m[1], m[2], m[3]})
		}
	}
	return all
}

// What keeps a photograph from being shown.
var (
	ErrAltered = errors.New("it was altered after it was noted")
	ErrNoImage = errors.New("it cannot be read")
	ErrTooMany = errors.New("it is too large")
)

const (
	mostPixels = 40e6 // some 160 MB while it is made smaller
	longSide   = 800  // pixels: 150 to the inch on half a page
	quality    = 78
)

// Small is a photograph as a JPEG whose longer side has at most 800 pixels, upright,
// and its size. The file must be the one that was noted. The same file gives the same
// bytes on every machine: only whole numbers are computed with.
func (p *Photograph) Small(file []byte) (small []byte, width, height int, err error) {
	if sum := sha256.Sum256(file); hex.EncodeToString(sum[:]) != p.SHA256 {
		return nil, 0, 0, ErrAltered
	}
	about, _, err := image.DecodeConfig(bytes.NewReader(file))
	if err != nil {
		return nil, 0, 0, fmt.Errorf("%w: %w", ErrNoImage, err)
	}
	if float64(about.Width)*float64(about.Height) > mostPixels {
		return nil, 0, 0, ErrTooMany
	}
	whole, _, err := image.Decode(bytes.NewReader(file))
	if err != nil {
		return nil, 0, 0, fmt.Errorf("%w: %w", ErrNoImage, err)
	}
	upright := turned(shrunk(whole), orientation(file))
	var out bytes.Buffer
	if err := jpeg.Encode(&out, upright, &jpeg.Options{Quality: quality}); err != nil {
		return nil, 0, 0, fmt.Errorf("%w: %w", ErrNoImage, err)
	}
	return out.Bytes(), upright.Rect.Dx(), upright.Rect.Dy(), nil
}

// shrunk averages squares of pixels, as many as make the longer side short enough;
// what is transparent shows white.
func shrunk(whole image.Image) *image.RGBA {
	b := whole.Bounds()
	n := max(1, (max(b.Dx(), b.Dy())+longSide-1)/longSide)
	w, h := max(1, b.Dx()/n), max(1, b.Dy()/n)
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			var r, g, bl, count uint64
			for dy := 0; dy < n && y*n+dy < b.Dy(); dy++ {
				for dx := 0; dx < n && x*n+dx < b.Dx(); dx++ {
					pr, pg, pb, pa := whole.At(b.Min.X+x*n+dx, b.Min.Y+y*n+dy).RGBA()
					white := uint64(0xffff - pa)
					r, g, bl, count = r+uint64(pr)+white, g+uint64(pg)+white, bl+uint64(pb)+white, count+1
				}
			}
			out.SetRGBA(x, y, color.RGBA{uint8(r / count >> 8), uint8(g / count >> 8), uint8(bl / count >> 8), 0xff})
		}
	}
	return out
}
