package field

import (
	"sync"

	"gonum.org/v1/gonum/spatial/r3"
)

// pathField is the field of an oblong or rectangular winding: summed over its
// sides and corners near by, as multipoles from farRadii on. Error below 1e-6 of
// |B| more than a millimetre from the copper; in it and next to it below 1e-4 of
// the field at the inner face.
type pathField struct {
	path    path
	section section
	reach2  float64 // square of the distance from which the multipoles serve
	makeFar sync.Once
	far     *farField
}

// farRadii is how many radii of the sphere about the copper multipoles begin at.
const farRadii = 2.12

func newPathField(p path, s section) *pathField {
	r := farRadii * p.radius(s)
	return &pathField{path: p, section: s, reach2: r * r}
}

// at is the field per ampere-turn in the coil's own frame: centre at the origin,
// sides along x and y.
func (f *pathField) at(at r3.Vec) r3.Vec {
	if r3.Norm2(at) < f.reach2 {
		return f.path.winding(f.section, at)
	}
	f.makeFar.Do(func() { f.far = newFarField(f.path, f.section) })
	return f.far.at(at)
}
