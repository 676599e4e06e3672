package field

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Map returns the field of all coils together in the middles of nx by ny equal
// cells of a rectangle at height z, teslas: row by row from the lowest y, each
// row from the lowest x. ampereTurns has one value per coil. Rows are shared out
// over the processors. It ends early, with the context's error, when the context
// does. After each row told, if it is not nil, hears how many of all are done;
// calls of it do not overlap, and none comes after Map has returned.
func (pad *Pad) Map(ctx context.Context, ampereTurns []float64, over r2.Box, nx, ny int, z float64, told func(done, of int)) ([]r3.Vec, error) {
	if nx <= 0 || ny <= 0 {
		return nil, nil
	}
	out := make([]r3.Vec, nx*ny)
	dx, dy := (over.Max.X-over.Min.X)/float64(nx), (over.Max.Y-over.Min.Y)/float64(ny)
	var next atomic.Int64
	var done sync.WaitGroup
	var telling sync.Mutex
	rows := 0
	for range min(runtime.GOMAXPROCS(0), ny) {
		done.Go(func() {
			for {
				j := int(next.Add(1)) - 1
				if j >= ny || ctx.Err() != nil {
					return
				}
				row := out[j*nx : (j+1)*nx]
				y := over.Min.Y + (float64(j)+0.5)*dy
				for i := range row {
					row[i] = pad.At(ampereTurns, r3.Vec{X: over.Min.X + (float64(i)+0.5)*dx, Y: y, Z: z})
				}
				if told != nil {
					telling.Lock()
					rows++
					told(rows, ny)
					telling.Unlock()
				}
			}
		})
	}
	done.Wait()
	return out, ctx.Err()
}
