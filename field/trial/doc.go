// Package trial is the decision benchmark: it makes pads, faults and captures
// from a seed, asks a judge what it thinks of them, and counts how often the
// judge is right. It is test tooling; the program does not contain it.
//
// It is written apart from the program's own physics so that a slip there
// cannot hide: the field is a sum over single turns (filament.go), the network
// is solved by its own nodal elimination (circuit.go), and plans and captures
// are written as text straight from the contract (toml.go, recorder.go). Of the
// program it uses only the names of faults and the shape of a verdict.
//
// # Frame, signs and units
//
// The pad frame of package layout: x to the right, y away, z up, coil
// mid-planes at z = 0, current counter-clockwise seen from above positive.
// Lengths in metres, fields in microtesla, times in seconds, angles in radians
// unless a name says otherwise.
//
// # How a claim is scored
//
// Every coil has the set of states that may be claimed of it (see allowed).
// Undecided is never wrong. A claim outside the set is a wrong claim.
//
//   - As planned: the coil's own field is 90 percent or more of the plan's and
//     it faces as planned. Current lost or gained through a fault elsewhere does
//     not count against it.
//   - Weak: turns are shorted so that less than 80 percent of them work. From
//     80 to 90 percent both weak and as planned may be claimed: the contract
//     draws the line at 85, and no honest reading tells 84 from 86. A coil with
//     fewer turns lets its string take more current: where it makes 85 percent of
//     its planned field all the same, as planned may be claimed too, for by the
//     contract's words it is not weak.
//   - Dead: no current flows in its turns, whatever the reason: shorted, or in a
//     string or group that is open.
//   - Reversed: it faces against the plan, whatever turned it. Reversed and weak
//     at once may be called either.
//   - Starved: a short elsewhere leaves it less than 15 percent of its planned
//     current. Dead may then be claimed as well as the way it faces.
//
// The first cause is right when its faults are those built in, or others with
// the same effect: the same signed ampere-turns in every coil and the same ohms
// of everything an ohmmeter was put to, in the plan's nominal network. Shares of
// shorted turns are not compared. On a pad without a fault it is right when no
// fault is named first.
//
// The outcome is wrong when a faulty pad is called as planned, or a sound one
// faulty (a false alarm; so is any claim but as planned on a coil of a sound
// pad). A pad whose only fault leaves every coil above 80 percent is not scored
// for its outcome or cause.
package trial
