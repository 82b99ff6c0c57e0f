package ms58xx

// Model is what sets one part apart from another.
type Model struct {
	Name      string
	Addresses []uint16 // that it may have
	Layout    Layout
	Others    []byte // product types (first word, bits 11 to 5) of parts that look like it and are not

	Convert1, Convert2 byte // commands: pressure, temperature at the highest oversampling
	ConvertMS          int  // ms that a conversion takes at most, with a margin

	Shift       uint    // of OFF and SENS in the calculation flow: 0, or 1 for the 02BA
	PShift      uint    // P = (D1·SENS/2²¹ − OFF) / 2^PShift
	PUnitPa     float64 // Pa, of P
	SecondOrder func(dT, temp int64) (ti, offi, sensi int64)

	LowPa, HighPa float64 // absolute, what it is specified for
	LowC, HighC   float64 // °C
}

// Measured is what a model makes of D1 and D2.
type Measured struct {
	DT              int64 // steps of the flow chart, for tests
	Temp1, Off1     int64 // first order: 0.01 °C; OFF
	Sens1, P1       int64 // first order: SENS; P in PUnitPa
	Ti, Offi, Sensi int64
	Temp2, P2       int64 // second order: 0.01 °C, PUnitPa

	Pa float64 // absolute; not cut to PUnitPa, as P2 is
	C  float64 // °C
}

// Compensate turns D1 (pressure) and D2 (temperature), 24 bits each, into
// pressure and temperature. Calculation flow of the data sheets; divisions by a
// power of two are shifts, which round down. No intermediate leaves 64 bits: D1 <
// 2²⁴ and |SENS| < 2³⁴ make 2⁵⁸.
func (m *Model) Compensate(c Coefficients, d1, d2 uint32) Measured {
	var r Measured
	r.DT = int64(d2) - int64(c.TRef)<<8
	r.Temp1 = 2000 + r.DT*int64(c.TempSens)>>23
	r.Off1 = int64(c.Off)<<(16+m.Shift) + int64(c.TCO)*r.DT>>(7-m.Shift)
	r.Sens1 = int64(c.Sens)<<(15+m.Shift) + int64(c.TCS)*r.DT>>(8-m.Shift)
	r.P1 = m.pressure(d1, r.Sens1, r.Off1) >> m.PShift
	r.Ti, r.Offi, r.Sensi = m.SecondOrder(r.DT, r.Temp1)
	r.Temp2 = r.Temp1 - r.Ti
	whole := m.pressure(d1, r.Sens1-r.Sensi, r.Off1-r.Offi)
	r.P2 = whole >> m.PShift
	r.Pa = float64(whole) / float64(int64(1)<<m.PShift) * m.PUnitPa
	r.C = float64(r.Temp2) / 100
	return r
}

func (m *Model) pressure(d1 uint32, sens, off int64) int64 { return int64(d1)*sens>>21 - off }
