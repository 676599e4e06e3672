package verdict

import (
	"context"
	"errors"
)

// halted unwinds a search that is no longer wanted. It never leaves this package.
type halted struct{}

// ErrHalted says that a verdict was given up before it was reached.
var ErrHalted = errors.New("the verdict was stopped before it was worked out")

// until does something, and gives it up with ErrHalted when ctx ends.
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
