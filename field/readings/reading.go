package readings

// Axis is what one hold says of one axis of the phone: the background B, the pad's pull D (what was
// read with the supply on, a pulse at its top, less B), and how their errors go together.
// Microtesla.
type Axis struct {
	B, D       float64
	VB, VD, CV float64 // variances of B and D, and their covariance, uT²
}

// Reading is one way to understand the samples of a hold, of weight exp(LogW); the
// weights of a hold's readings come to 1 at most. A hold that jumped, or whose pulses
// could be counted either way, has several.
type Reading struct {
	LogW float64
	Ax   [3]Axis // by the phone's axes
}

// Vague is the variance of something not measured, in uT².
const Vague = 1e8

// FloorUT is what the verdict's model of the pad leaves open per axis, uT, however well a
// hold was read (an estimate, no source): no reading counts as sharper than that.
const FloorUT = 1.2

// RestSD is by how much the background of a hold differs from that of a rest, uT, one
// standard deviation of each axis in the plane: nobody knows which way the phone lay in the
// rest (an estimate, no source).
const RestSD = 28.0

// sample is a magnetometer sample with what the supply was told to do.
type sample struct {
	t float64    // seconds
	u [3]float64 // uT, by the phone's axes
	s float64    // the supply: 0 off, 1 on
	// It was taken so soon after the supply was told to be switched, within the hold, that it may
	// not have been yet (early); or so soon before, that it may have been (soon).
	early, soon bool
}
