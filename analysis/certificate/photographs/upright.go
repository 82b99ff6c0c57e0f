package photographs

import (
	"bytes"
	"encoding/binary"
	"image"
)

// orientation is how a camera says that it was held: 1 to 8, tag 0x0112 of the
// first directory of a JPEG's Exif segment (CIPA DC-008-2012, 4.6.4 A, and TIFF 6.0,
// section 2); 1, upright, where it says nothing that can be read.
func orientation(file []byte) int {
	const upright = 1
	if len(file) < 4 || file[0] != 0xff || file[1] != 0xd8 {
		return upright
	}
	for at := 2; at+4 <= len(file) && file[at] == 0xff && file[at+1] != 0xda; {
		end := at + 2 + int(binary.BigEndian.Uint16(file[at+2:]))
		if end > len(file) || end < at+4 {
			return upright
		}
		if tiff, found := bytes.CutPrefix(file[at+4:end], []byte("Exif\x00\x00")); found && file[at+1] == 0xe1 {
			return fromTIFF(tiff)
		}
		at = end
	}
	return upright
}

func fromTIFF(tiff []byte) int {
	if len(tiff) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.LittleEndian
	if tiff[0] == 'M' {
		order = binary.BigEndian
	}
	at := int64(order.Uint32(tiff[4:]))
	if at+2 > int64(len(tiff)) {
		return 1
	}
	count := int64(order.Uint16(tiff[at:]))
	for i := range count {
		entry := at + 2 + 12*i
		if entry+12 > int64(len(tiff)) {
			return 1
		}
		if order.Uint16(tiff[entry:]) == 0x0112 {
			if v := int(order.Uint16(tiff[entry+8:])); v >= 1 && v <= 8 {
				return v
			}
		}
	}
	return 1
}

// turned sets a picture upright. Orientation 1 is upright; 2 is a mirror image; 3 is
// upside down; 5 to 8 lie on a side.
func turned(p *image.RGBA, orientation int) *image.RGBA {
	w, h := p.Rect.Dx(), p.Rect.Dy()
	var to func(x, y int) (int, int)
	switch orientation {
	case 2:
		to = func(x, y int) (int, int) { return w - 1 - x, y }
	case 3:
		to = func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }
	case 4:
		to = func(x, y int) (int, int) { return x, h - 1 - y }
	case 5:
		to = func(x, y int) (int, int) { return y, x }
	case 6:
		to = func(x, y int) (int, int) { return h - 1 - y, x }
	case 7:
		to = func(x, y int) (int, int) { return h - 1 - y, w - 1 - x }
	case 8:
		to = func(x, y int) (int, int) { return y, w - 1 - x }
	default:
		return p
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	if orientation >= 5 {
		out = image.NewRGBA(image.Rect(0, 0, h, w))
	}
	for y := range h {
		for x := range w {
			ox, oy := to(x, y)
			out.SetRGBA(ox, oy, p.RGBAAt(x, y))
		}
	}
	return out
}
