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
	err = m.until(ctx, func() (err error) { v, a, err = m.Account(before, captures...); return err })
	return v, a, err
}

// LocateUntil does as Locate does, and gives up likewise.
func (m *Model) LocateUntil(ctx context.Context, c *capture.Capture) (p *Place, err error) {
	err = m.until(ctx, func() (err error) { p, err = m.Locate(c); return err })
	return p, err
}

func (m *Model) until(ctx context.Context, do func() error) (err error) {
	defer func() {
		switch r := recover(); r.(type) {
		case nil:
		case halted:
			err = ErrHalted
		default:
			panic(r)
		}
	}()
	m.halt = ctx.Done()
	defer func() { m.halt = nil }()
	return do()
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
