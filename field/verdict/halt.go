package verdict

import (
	"context"
	"errors"

	"polewise/field/capture"
)

// halted unwinds a search that is no longer wanted. It never leaves this package.
type halted struct{}

// ErrHalted says that a verdict was given up before it was reached.
var ErrHalted = errors.New("the verdict was stopped before it was worked out")

// AccountUntil does as Account does, and gives up with ErrHalted when ctx ends.
func (m *Model) AccountUntil(ctx context.Context, before *Before, captures ...*capture.Capture) (v *Verdict, a *Account, err error) {
	defer func() {
		switch r := recover(); r.(type) {
		case nil:
		case halted:
			v, a, err = nil, nil, ErrHalted
		default:
			panic(r)
		}
	}()
	m.halt = ctx.Done()
	defer func() { m.halt = nil }()
	return m.Account(before, captures...)
}

// checkHalt stands where every score begins: there a search ends that is no longer
// wanted.
func (m *Model) checkHalt() {
	select {
	case <-m.halt:
		panic(halted{})
	default:
	}
}
