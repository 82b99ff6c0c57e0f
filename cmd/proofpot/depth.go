package main

import (
	"encoding/json"
	"fmt"

	"proofpot/profiles"
	"proofpot/profiles/depth"
)

type depthCmd struct {
	Value       string   `arg:"" help:"A depth (30m, 100ft, 30msw, 98fsw) or a gauge pressure (4.2bar, 61psi, 420kPa, 0.42MPa, 4atm)."`
	To          string   `help:"Make a table from VALUE to this one." placeholder:"VALUE"`
	Step        string   `help:"Step of the table." placeholder:"VALUE"`
	Water       string   `help:"Model of the water: ${waters}." default:"sea"`
	Salinity    float64  `help:"Absolute salinity in g/kg; for EOS-80, practical salinity." default:"35"`
	Temperature float64  `help:"Temperature of the water, °C." default:"12"`
	Latitude    float64  `help:"Latitude in degrees, for gravity." default:"45"`
	Altitude    float64  `help:"Altitude of the water's surface in m; the pressure on it by the standard atmosphere." default:"0"`
	Barometer   float64  `help:"Pressure on the water's surface in hPa absolute, as a barometer on the spot shows it (not reduced to sea level); in place of the standard atmosphere." placeholder:"HPA"`
	Layer       []string `help:"A point of a profile below the surface: depth, temperature in °C and, optionally, salinity; may be given again, downwards." placeholder:"DEPTH,°C[,SALINITY]" sep:"none"`
	JSON        bool     `name:"json" help:"Print JSON."`
}

// Run converts, and says under which conditions.
func (c *depthCmd) Run(w *world) error {
	water, err := c.water()
	if err != nil {
		return err
	}
	if (c.To == "") != (c.Step == "") {
		return fmt.Errorf("a table needs both --to and --step, as in: proofpot depth 10m --to 60m --step 10m")
	}
	if c.To != "" {
		return c.table(w, water)
	}
	conv, err := depth.Convert(c.Value, water)
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(w.out).Encode(conv)
	}
	text, err := depth.Report(conv, water)
	if err == nil {
		_, err = fmt.Fprint(w.out, text)
	}
	return err
}

func (c *depthCmd) table(w *world, water profiles.Water) error {
	rows, err := depth.Range(c.Value, c.To, c.Step, water)
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(w.out).Encode(rows)
	}
	text, err := depth.Table(rows, water)
	if err == nil {
		_, err = fmt.Fprint(w.out, text)
	}
	return err
}

// water is the water that the flags describe.
func (c *depthCmd) water() (profiles.Water, error) {
	w := profiles.Water{Model: c.Water, SalinityGKg: c.Salinity, TemperatureC: c.Temperature, LatitudeDeg: c.Latitude,
		AltitudeM: c.Altitude, SurfacePa: 100 * c.Barometer}
	for _, text := range c.Layer {
		l, err := depth.ParseLayer(text, c.Salinity)
		if err != nil {
			return w, fmt.Errorf("--layer: %w", err)
		}
		w.Layers = append(w.Layers, l)
	}
	return w, nil
}
