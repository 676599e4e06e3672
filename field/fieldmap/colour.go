package fieldmap

import (
	"image/color"
	"math"
)

// anchors of the colours from as strong as can be away from the reader to as
// strong as can be toward: blue, paper, orange. Blue and orange are told apart by
// every kind of colour blindness; blue ends far darker than orange does, so that
// grey tells them apart where the field is strong. Lines and their figures tell
// the sign in any case.
var anchors = [...]color.RGBA{
	{0x0a, 0x1f, 0x4f, 255}, {0x1d, 0x4d, 0x93, 255}, {0x5b, 0x8f, 0xc7, 255}, {0xb3, 0xcf, 0xe6, 255},
	{0xf7, 0xf5, 0xf0, 255},
	{0xfb, 0xdf, 0xb0, 255}, {0xf6, 0xbd, 0x6b, 255}, {0xea, 0x93, 0x30, 255}, {0xcf, 0x69, 0x10, 255},
}

// colourOf is the colour of a share from -1, strongest away, to 1, strongest
// toward the reader.
func colourOf(share float64) color.RGBA {
	t := (math.Max(-1, math.Min(1, share)) + 1) / 2 * float64(len(anchors)-1)
	i := min(int(t), len(anchors)-2)
	a, b, f := anchors[i], anchors[i+1], t-float64(i)
	mix := func(x, y uint8) uint8 { return uint8(math.Round(float64(x) + f*(float64(y)-float64(x)))) }
	return color.RGBA{mix(a.R, b.R), mix(a.G, b.G), mix(a.B, b.B), 255}
}
