package analysis

// calibrationDoubts says which sensors, whose readings a verdict goes by, had a
// calibration that does not bear it on the day of the run. A sensor that was never
// calibrated is used with its accuracy class.
func (a *analysis) calibrationDoubts() []string {
	var list []string
	for _, s := range a.run.Bench.Sensors {
		if s.Calibration != nil {
			list = append(list, s.Calibration.Doubts(a.x.at(0))...)
		}
	}
	return list
}
