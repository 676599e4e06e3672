package capture

import (
	"polewise/layout"
)

// Check reports the first line that speaks of a coil, string or group the plan
// does not have.
func (c *Capture) Check(plan *layout.Plan) error {
	for i, l := range c.Lines {
		if err := CheckLine(plan, l); err != nil {
			err.Line = c.Numbers[i]
			return err
		}
	}
	return nil
}

// CheckLine reports whether a single line fits the plan; nil when it does.
func CheckLine(plan *layout.Plan, l Line) *Error {
	noCoil := func(key, id string) *Error {
		if plan.CoilIndex(id) >= 0 {
			return nil
		}
		return bad(key, "Is this the right plan?", "no coil %q in plan %q.", clip(id), plan.Name)
	}
	switch l := l.(type) {
	case Hold:
		return noCoil("at", l.Coil)
	case Reading:
		return noCoil("at", l.Coil)
	case Pass:
		for i, id := range l.Along {
			if err := noCoil("along", id); err != nil {
				return err
			}
			if i == 0 {
				continue
			}
			before := l.Along[i-1]
			if before == id {
				return bad("along", "Name each coil once, in the order the phone comes to them.", "coil %q follows itself.", clip(id))
			}
			if plan.Coils[plan.CoilIndex(before)].At == plan.Coils[plan.CoilIndex(id)].At {
				return bad("along", "Name one of them, and read the other by itself.", "no way leads from coil %q to %q: they have one centre.", clip(before), clip(id))
			}
			if first := l.Along[0]; i == len(l.Along)-1 && plan.Coils[plan.CoilIndex(first)].At == plan.Coils[plan.CoilIndex(id)].At {
				return bad("along", "Make two passes of it, there and back.", "the pass ends where it began, at coil %q.", clip(first))
			}
		}
	case Ohms:
		kind, id := l.Target()
		switch {
		case kind == "coil":
			return noCoil("across", id)
		case kind == "string" && plan.StringIndex(id) < 0, kind == "group" && plan.GroupIndex(id) < 0:
			return bad("across", "Is this the right plan?", "no %s %q in plan %q.", kind, clip(id), plan.Name)
		}
	}
	return nil
}
