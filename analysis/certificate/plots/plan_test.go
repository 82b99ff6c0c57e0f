package plots

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"os"
	"testing"

	"proofpot/profiles"
	"proofpot/profiles/plan"
)

func planned(t *testing.T, name string) *plan.Plan {
	t.Helper()
	p, err := profiles.Load(name)
	if err != nil {
		t.Fatal(err)
	}
	got, err := plan.New(p, plan.Bench{ID: "pot-1", ChamberML: 10000, CushionML: 300, StiffnessMLPerBar: 1.5, RatedPa: 801325, ReliefPa: 701325}, plan.Unit{FreeML: 700})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestAPlanIsDrawn(t *testing.T) {
	for _, name := range []string{"proof-30m-sea", "cycles-50-30m-sea", "ladder-30m-sea", "vacuum-check"} {
		p := planned(t, name)
		picture, err := Plan(p)
		if err != nil {
			t.Fatal(err)
		}
		tidy(t, name, picture)
		d, texts := xml.NewDecoder(bytes.NewReader(picture.SVG())), 0
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: not XML: %v", name, err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "text" {
				texts++
			}
		}
		if texts < 8 {
			t.Errorf("%s: only %d texts", name, texts)
		}
		data, err := picture.PNG(150)
		if err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(bytes.NewReader(data))
		if err != nil || img.Bounds().Dx() < 1000 {
			t.Errorf("%s: %v", name, err)
		}
		if dir := os.Getenv("PICTURES"); dir != "" { // to look at them
			if err := os.WriteFile(dir+"/"+name+".png", data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
