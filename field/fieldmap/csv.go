package fieldmap

import (
	"bufio"
	"fmt"
	"io"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"polewise/layout"
)

// WriteCSV writes a grid as a table with its units: lines that begin with # tell
// what it is, then a line of names, then a line a point.
func (g *Grid) WriteCSV(w io.Writer, p *layout.Plan) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "# %s: the field with every coil driven as planned\n", p.Title())
	fmt.Fprintf(b, "# pad frame: x to the right, y away from the person, z up; in millimetres and microtesla\n")
	fmt.Fprintf(b, "# z = %s mm over the mid-plane of the coils; %d by %d points, %s mm apart\n",
		short(g.Z/millimetre), g.NX, g.NY, short(g.Step/millimetre))
	fmt.Fprintln(b, "x_mm,y_mm,bx_uT,by_uT,bz_uT,b_uT")
	for j := range g.NY {
		for i := range g.NX {
			f := r3.Scale(1/microtesla, g.B[j*g.NX+i])
			fmt.Fprintf(b, "%s,%s,%s,%s,%s,%s\n", short(g.X(i)/millimetre), short(g.Y(j)/millimetre),
				short(f.X), short(f.Y), short(f.Z), short(r3.Norm(f)))
		}
	}
	return b.Flush()
}

// short writes a number to seven digits.
func short(x float64) string { return strconv.FormatFloat(x, 'g', 7, 64) }
