package layout

import "math"

// Properties of annealed copper at 20 C, the International Annealed Copper
// Standard of IEC 60028 (1925), as quoted from NBS Handbook 100 (1966). IEC
// 60028 itself was not seen.
const (
	copperOhmMetres   = 1.7241e-8 // resistivity
	CopperPerKelvin   = 0.00393   // rise of resistance per kelvin, of that at 20 C
	CopperKilogramsM3 = 8890.0    // density
)

// BareDiameterOfAWG is the bare diameter in metres of a wire of American Wire
// Gauge awg: the unrounded progression of ASTM B258, in which No. 36 is 0.0050
// inch, No. 0000 (awg -3) is 0.4600 inch and the 39 steps between are equal
// ratios. (Rule quoted from NBS Handbook 100, section 2.1.)
func BareDiameterOfAWG(awg float64) float64 {
	return 0.127e-3 * math.Pow(92, (36-awg)/39)
}

// WireLength is the length of wire in a coil in metres, without its leads.
func (w *Winding) WireLength() float64 { return float64(w.Turns) * w.MeanTurn() }

// WireSection is the copper section of the wire in square metres.
func (w *Winding) WireSection() float64 { return math.Pi / 4 * w.Wire * w.Wire }

// ComputedOhms is the resistance at 20 C that follows from wire and turns.
func (w *Winding) ComputedOhms() float64 {
	return copperOhmMetres * w.WireLength() / w.WireSection()
}

// Ohms20 is the resistance of a coil at 20 C: the one the plan gives, or else
// the computed one.
func (w *Winding) Ohms20() float64 {
	if w.GivenOhms > 0 {
		return w.GivenOhms
	}
	return w.ComputedOhms()
}

// OhmsAt converts a resistance of copper at 20 C to another temperature in
// degrees Celsius.
func OhmsAt(ohms20, celsius float64) float64 {
	return ohms20 * (1 + CopperPerKelvin*(celsius-20))
}

// OhmsAt20 converts a resistance of copper measured at a temperature in
// degrees Celsius to 20 C.
func OhmsAt20(ohms, celsius float64) float64 {
	return ohms / (1 + CopperPerKelvin*(celsius-20))
}
