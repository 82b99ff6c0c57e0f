package bme280

// Calibration is what the factory wrote, dig_T1 to dig_H6 of the data sheets.
type Calibration struct {
	T1                             uint16
	T2, T3                         int16
	P1                             uint16
	P2, P3, P4, P5, P6, P7, P8, P9 int16
	H1, H3                         uint8
	H2, H4, H5                     int16 // H4 and H5 have 12 bits
	H6                             int8
}

// Lengths of the two blocks of calibration, from 88 and E1 hex.
const (
	lowBytes  = 26
	highBytes = 7
)

// parse reads the two blocks (BME280, table 16). Those of a BMP280 have no
// second one.
func parse(low [lowBytes]byte, high [highBytes]byte) Calibration {
	u := func(i int) uint16 { return uint16(low[i]) | uint16(low[i+1])<<8 }
	s := func(i int) int16 { return int16(u(i)) }
	return Calibration{
		T1: u(0), T2: s(2), T3: s(4),
		P1: u(6), P2: s(8), P3: s(10), P4: s(12), P5: s(14), P6: s(16), P7: s(18), P8: s(20), P9: s(22),
		H1: low[25], H2: int16(uint16(high[0]) | uint16(high[1])<<8), H3: high[2],
		H4: int16(int8(high[3]))<<4 | int16(high[4]&0xF),
		H5: int16(int8(high[5]))<<4 | int16(high[4]>>4),
		H6: int8(high[6]),
	}
}

// Temperature gives °C and the fine temperature that the others need, from a
// number of 20 bits.
func (c *Calibration) Temperature(adc uint32) (celsius, fine float64) {
	t := float64(adc)
	a := (t/16384 - float64(c.T1)/1024) * float64(c.T2)
	b := t/131072 - float64(c.T1)/8192
	fine = a + b*b*float64(c.T3)
	return fine / 5120, fine
}

// Pressure gives Pa absolute, from a number of 20 bits. It is no finite number
// where the calibration would have it divide by nothing.
func (c *Calibration) Pressure(adc uint32, fine float64) float64 {
	a := fine/2 - 64000
	b := a*a*float64(c.P6)/32768 + a*float64(c.P5)*2
	b = b/4 + float64(c.P4)*65536
	a = (float64(c.P3)*a*a/524288 + float64(c.P2)*a) / 524288
	a = (1 + a/32768) * float64(c.P1)
	p := (1048576 - float64(adc) - b/4096) * 6250 / a // infinite where a is 0
	return p + (float64(c.P9)*p*p/2147483648+p*float64(c.P8)/32768+float64(c.P7))/16
}

// Humidity gives % relative humidity, from a number of 16 bits. It is not cut to
// 0 to 100 %.
func (c *Calibration) Humidity(adc uint32, fine float64) float64 {
	h := fine - 76800
	h = (float64(adc) - (float64(c.H4)*64 + float64(c.H5)/16384*h)) *
		(float64(c.H2) / 65536 * (1 + float64(c.H6)/67108864*h*(1+float64(c.H3)/67108864*h)))
	return h * (1 - float64(c.H1)*h/524288)
}
