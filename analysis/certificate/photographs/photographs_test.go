package photographs

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"
	"time"

	"proofpot/analysis"
)

// corner is a picture of w × h that is red in its upper left quarter and blue elsewhere.
func corner(w, h int) image.Image {
	p := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{0, 0, 0xff, 0xff}
			if x < w/2 && y < h/2 {
				c = color.RGBA{0xff, 0, 0, 0xff}
			}
			p.SetRGBA(x, y, c)
		}
	}
	return p
}

func packed(t *testing.T, p image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, p, nil); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// held adds the Exif segment of a camera held in an orientation.
func held(file []byte, orientation uint16, order binary.AppendByteOrder) []byte {
	tiff := []byte("II*\x00")
	if order == binary.AppendByteOrder(binary.BigEndian) {
		tiff = []byte("MM\x00*")
	}
	tiff = order.AppendUint32(tiff, 8)
	tiff = order.AppendUint16(tiff, 2)
	for _, e := range [][2]uint16{{0x010f, 7}, {0x0112, orientation}} {
		tiff = order.AppendUint16(tiff, e[0])
		tiff = order.AppendUint16(tiff, 3) // SHORT
		tiff = order.AppendUint32(tiff, 1)
		tiff = order.AppendUint16(tiff, e[1])
		tiff = order.AppendUint16(tiff, 0)
	}
	body := append([]byte("Exif\x00\x00"), tiff...)
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1}, binary.BigEndian.AppendUint16(nil, uint16(len(body)+2))...)
	return append(append(out, body...), file[2:]...)
}

func of(file []byte) *Photograph {
	sum := sha256.Sum256(file)
	return &Photograph{SHA256: hex.EncodeToString(sum[:])}
}

func TestThePhotographsAreThoseThatTheRecordNotes(t *testing.T) {
	at := time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC)
	sum := hex.EncodeToString(make([]byte, 32))
	got := Noted([]analysis.Event{
		{Time: at, Kind: "note", Text: "photograph photos/20260314T090000Z-00000000.jpg, sha256 " + sum + ": lid: a hair"},
		{Time: at, Kind: "note", Text: "photograph photos/20260314T090001Z-00000000.png, sha256 " + sum},
		{Time: at, Kind: "note", Text: "photograph photos/../run.toml, sha256 " + sum},
		{Time: at, Kind: "fault", Text: "photograph photos/20260314T090001Z-00000000.png, sha256 " + sum},
		{Time: at, Kind: "note", Text: "a photograph was taken"},
	})
	if len(got) != 2 || got[0].Words != "lid: a hair" || got[0].Path != "photos/20260314T090000Z-00000000.jpg" || got[1].Words != "" || !got[1].Time.Equal(at) {
		t.Errorf("%+v", got)
	}
}

// TestAPhotographStandsUprightHoweverTheCameraWasHeld: where the red quarter must lie
// for each orientation follows from the standard's table, in which orientation 6 means
// that row 0 of the file is the right-hand side and column 0 the top.
func TestAPhotographStandsUprightHoweverTheCameraWasHeld(t *testing.T) {
	plain := packed(t, corner(64, 48))
	for orientation, red := range map[uint16][2]bool{ // right?, below?
		1: {false, false}, 2: {true, false}, 3: {true, true}, 4: {false, true},
		5: {false, false}, 6: {true, false}, 7: {true, true}, 8: {false, true}, 99: {false, false}} {
		for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
			file := held(plain, orientation, order)
			small, w, h, err := of(file).Small(file)
			if err != nil {
				t.Fatal(err)
			}
			if sideways := orientation >= 5 && orientation <= 8; (w == 48) != sideways || w+h != 64+48 {
				t.Errorf("orientation %d: %d × %d", orientation, w, h)
			}
			p, err := jpeg.Decode(bytes.NewReader(small))
			if err != nil {
				t.Fatal(err)
			}
			for _, right := range []bool{false, true} {
				for _, below := range []bool{false, true} {
					x, y := w/4, h/4
					if right {
						x += w / 2
					}
					if below {
						y += h / 2
					}
					r, _, _, _ := p.At(x, y).RGBA()
					if (r > 0x8000) != (red == [2]bool{right, below}) {
						t.Errorf("orientation %d: red is not at right %v, below %v", orientation, red[0], red[1])
					}
				}
			}
		}
	}
}

func TestALargePhotographIsMadeSmallAndTheSameEachTime(t *testing.T) {
	file := packed(t, corner(2500, 1700))
	a, w, h, err := of(file).Small(file)
	if err != nil || w != 625 || h != 425 {
		t.Fatalf("%d × %d, %v", w, h, err)
	}
	if b, _, _, _ := of(file).Small(file); !bytes.Equal(a, b) {
		t.Error("two differ")
	}
	var clear bytes.Buffer
	if err := png.Encode(&clear, image.NewNRGBA(image.Rect(0, 0, 10, 10))); err != nil {
		t.Fatal(err)
	}
	small, _, _, err := of(clear.Bytes()).Small(clear.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	p, _ := jpeg.Decode(bytes.NewReader(small))
	if r, _, _, _ := p.At(5, 5).RGBA(); r < 0xf000 {
		t.Error("what is transparent is not white")
	}
}

func TestAnAlteredOrBrokenPhotographIsNotShown(t *testing.T) {
	file := packed(t, corner(64, 48))
	p := of(file)
	file[len(file)/2] ^= 1
	if _, _, _, err := p.Small(file); !errors.Is(err, ErrAltered) {
		t.Error(err)
	}
	broken := []byte("no photograph")
	if _, _, _, err := of(broken).Small(broken); !errors.Is(err, ErrNoImage) {
		t.Error(err)
	}
	cut := packed(t, corner(640, 480))[:2000]
	if _, _, _, err := of(cut).Small(cut); !errors.Is(err, ErrNoImage) {
		t.Error(err)
	}
}

func FuzzOrientation(f *testing.F) {
	f.Add([]byte{0xff, 0xd8, 0xff, 0xe1, 0, 8, 'E', 'x', 'i', 'f', 0, 0})
	f.Add(held([]byte{0xff, 0xd8, 0xff, 0xda}, 6, binary.BigEndian))
	f.Fuzz(func(t *testing.T, file []byte) {
		if o := orientation(file); o < 1 || o > 8 {
			t.Errorf("orientation %d", o)
		}
	})
}
