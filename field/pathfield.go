package field

import (
	"sync"

	"gonum.org/v1/gonum/spatial/r3"
)

// pathField is the field of an oblong or rectangular winding: summed over its
// sides and corners near by, as multipoles from two radii on.
type pathField struct {
	path    path
	section section
	reach2  float64 // square of twice the radius of the sphere about it
	makeFar sync.Once
	far     *farField
}

func newPathField(p path, s section) *pathField {
	r := 2 * p.radius(s)
	return &pathField{path: p, section: s, reach2: r * r}
}

func (f *pathField) at(at r3.Vec) r3.Vec {
	if r3.Norm2(at) < f.reach2 {
		return f.path.winding(f.section, at)
	}
	f.makeFar.Do(func() { f.far = newFarField(f.path, f.section) })
	return f.far.at(at)
}
