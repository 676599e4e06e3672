package readings

import "math"

// moments are sums over samples of one axis: their number n, and of the supply s, the reading u,
// and the products of these.
type moments struct{ n, s, ss, u, su, uu float64 }

// add adds a sample's axis a.
func (m *moments) add(x *sample, a int) {
	m.n++
	m.s += x.s
	m.ss += x.s * x.s
	m.u += x.u[a]
	m.su += x.s * x.u[a]
	m.uu += x.u[a] * x.u[a]
}

// less is these without some.
func (m *moments) less(o *moments) moments {
	return moments{m.n - o.n, m.s - o.s, m.ss - o.ss, m.u - o.u, m.su - o.su, m.uu - o.uu}
}

// squares is the sum of the squared distances from their mean.
func (m *moments) squares() float64 {
	if m.n < 1 {
		return 0
	}
	return math.Max(0, m.uu-m.u*m.u/m.n)
}

// runningMoments are those of one axis of all samples from each one on, so that a list can be cut
// in two anywhere without adding it up again.
func runningMoments(xs []sample, a int) []moments {
	out := make([]moments, len(xs)+1)
	var m moments
	for i := len(xs) - 1; i >= 0; i-- {
		m.add(&xs[i], a)
		out[i] = m
	}
	return out
}

// level is background and pull of samples under one state of the supply: only their sum is known,
// which the background is taken for, and the pull is left open.
func (m *moments) level(sigma float64) Axis {
	return Axis{B: m.u / m.n, VB: sigma * sigma / m.n, VD: Vague}
}

// fitAxes fits all three axes of samples with the supply off and on, without a jump, and sums
// their log evidences.
func fitAxes(xs []sample, sigma [3]float64) (ax [3]Axis, ll float64) {
	for a := range ax {
		x, l := momentsOf(xs, a).fit(&moments{}, sigma[a], true)
		ax[a] = x
		ll += l
	}
	return ax, ll
}

// momentsOf are those of one axis of samples.
func momentsOf(xs []sample, a int) *moments {
	var m moments
	for i := range xs {
		m.add(&xs[i], a)
	}
	return &m
}

// fit is the linear fit u = b + d s + J of one axis, J being a jump that acts on the samples of
// after alone, with wide priors on b and d and standard deviation jumpSD on J. Its log evidence
// comes with it. Not toggled, only b + d shows, and b is that.
func (m *moments) fit(after *moments, sigma float64, toggled bool) (Axis, float64) {
	prec := 1 / (sigma * sigma)
	normal := [3][3]float64{ // of b, d and J
		{m.n * prec, m.s * prec, after.n * prec},
		{m.s * prec, m.ss * prec, after.s * prec},
		{after.n * prec, after.s * prec, after.n * prec},
	}
	h := [3]float64{m.u * prec, m.su * prec, after.u * prec}
	prior := [3]float64{1 / (anyGroundSD * anyGroundSD), 1 / (pullSD * pullSD), 1 / (jumpSD * jumpSD)}
	ll := -m.n / 2 * math.Log(2*math.Pi*sigma*sigma)
	if !toggled {
		// Only b + d is seen: fold d into b.
		normal[1] = [3]float64{}
		normal[0][1], normal[2][1], h[1] = 0, 0, 0
	}
	for p := range prior {
		normal[p][p] += prior[p]
		ll += 0.5 * math.Log(prior[p])
	}
	inv, logDet, ok := invert3(normal)
	if !ok {
		return Axis{VB: Vague, VD: Vague}, math.Inf(-1)
	}
	v := times(&inv, &h)
	ll += -0.5*(m.uu*prec-Dot(&h, &v)) - 0.5*logDet
	if !toggled {
		return Axis{B: v[0], VB: inv[0][0], VD: Vague}, ll
	}
	return Axis{B: v[0], D: v[1], VB: inv[0][0], VD: inv[1][1], CV: inv[0][1]}, ll
}
