package feed

// clock turns a device's own time into the check's. It goes by the readings that
// came with the least delay, and begins anew where the device did.
type clock struct {
	set   bool
	last  float64 // device
	ahead float64 // check's time minus device's
}

const (
	clockJump  = 5.0  // seconds of disagreement after which the device's clock is set anew
	clockDrift = 1e-3 // by which it may run fast against ours
)

// at is the check's time of a reading that carries the device's time and arrived
// at a given time, both in seconds.
func (c *clock) at(device, arrived float64) float64 {
	ahead := arrived - device
	if !c.set || device < c.last || ahead < c.ahead-clockJump || ahead > c.ahead+clockJump {
		*c = clock{set: true, last: device, ahead: ahead}
		return arrived
	}
	c.ahead = min(ahead, c.ahead+clockDrift*(device-c.last))
	c.last = device
	return device + c.ahead
}
