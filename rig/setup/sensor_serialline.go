package setup

import (
	"errors"

	"proofpot/sensors"
	"proofpot/sensors/serialline/textline"
)

// DriverSerialLine is the driver of devices that print text lines over a serial
// port.
const DriverSerialLine = "serial-line"

func (s *Sensor) checkSerialLine(key func(string) string) error {
	if err := s.checkPort(key); err != nil {
		return err
	}
	return s.checkTextLine(key)
}

// checkTextLine checks what lines look like and mean.
func (s *Sensor) checkTextLine(key func(string) string) error {
	config := s.TextLine()
	if err := config.Check(); err != nil {
		var at *textline.ConfigError
		if errors.As(err, &at) {
			return wrong(key(at.Key), "%s", at.Text)
		}
		return err
	}
	return nil
}

// TextLine says how to read the lines of a sensor whose driver is serial-line or
// file-line.
// The quantities of its fields must be known ones: Check has seen to that.
func (s Sensor) TextLine() textline.Config {
	main, _ := sensors.QuantityNamed(s.Measures)
	c := textline.Config{
		Sensor: s.ID, Shape: s.Line, Pattern: s.Pattern, DecimalComma: s.DecimalComma, Separator: s.Separator,
		Checksum: s.Checksum, Sequence: s.Sequence, Banner: s.Banner, Main: main,
	}
	for _, f := range s.Fields {
		q := main
		if f.Measures != "" {
			q, _ = sensors.QuantityNamed(f.Measures)
		}
		c.Fields = append(c.Fields, textline.Field{
			From: f.From, Quantity: q, Unit: f.Unit, Reference: f.Reference, SealedPa: f.SealedPa,
			Low: f.Low, High: f.High, Interval: seconds(f.IntervalS),
		})
	}
	return c
}
