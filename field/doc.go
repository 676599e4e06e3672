// Package field computes the magnetic field of wound coils.
//
// # Frame and signs
//
// Everything is in the pad frame and in SI: x to the right, y away from the
// person, z up from the bench, the mid-plane of every coil at z = 0. A current
// counter-clockwise seen from +z is positive and gives Bz > 0 in the bore.
// Ampere-turns are those of the pad frame: positive for a coil that is driven
// north up, whatever the plan wants of it. A phone lying flat, screen up, top
// edge away from the person, has axes parallel to the pad's.
package field
