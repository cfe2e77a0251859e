package charts

import "image/color"

// palette is the colours of a theme. Every pair that has to be told apart
// differs in lightness, so that nothing is lost in grey or to colour blindness;
// red against blue keeps fruit from its absence.
type palette struct {
	paper    color.Color // ground
	ink      color.Color // text, as-of line
	soft     color.Color // second-rank text, at least 4.5:1 on paper
	hairline color.Color // weeks
	wire     color.Color // under the beads of a planting
	weekend  color.Color // Saturdays and Sundays: straw

	berry color.Color // beads seen; rims
	flesh color.Color // beads of likely days
	blush color.Color // more fruit than the median

	slate    color.Color // gaps and thin stretches
	gapTint  color.Color
	thinTint color.Color

	// Supply, by planting, in turn: dark, middle, light. The part above the
	// 0.1 quantile of the total is in the tints.
	layers, tints  [3]color.Color
	onTone, onTint [3]color.Color // text on them
	other          color.Color    // supply of no planting
}

func rgb(hex uint32) color.Color {
	return color.RGBA{R: uint8(hex >> 16 & 0xff), G: uint8(hex >> 8 & 0xff), B: uint8(hex & 0xff), A: 0xff}
}

func (t Theme) palette() palette {
	if t == Dark {
		return palette{
			paper: rgb(0x1b1614), ink: rgb(0xf3eae1), soft: rgb(0xb8aa9e), hairline: rgb(0x3d332d), weekend: rgb(0x28211c),
			berry: rgb(0xf2656b), flesh: rgb(0x9c4348), blush: rgb(0x48262a), wire: rgb(0x75675c),
			slate: rgb(0x9cc3e6), gapTint: rgb(0x1d2d3d), thinTint: rgb(0x1f2429),
			layers: [3]color.Color{rgb(0x87305a), rgb(0xea5a5e), rgb(0xf6cf93)},
			tints:  [3]color.Color{rgb(0x5d2a44), rgb(0xa4474a), rgb(0xad946b)},
			onTone: [3]color.Color{rgb(0xffffff), rgb(0x1b1614), rgb(0x1b1614)},
			onTint: [3]color.Color{rgb(0xffffff), rgb(0xffffff), rgb(0x1b1614)},
			other:  rgb(0x8c8078),
		}
	}
	return palette{
		paper: rgb(0xfffefb), ink: rgb(0x2a211d), soft: rgb(0x6a5d55), hairline: rgb(0xe2d7c8), weekend: rgb(0xf6eedf),
		berry: rgb(0xb01e30), flesh: rgb(0xf0a199), blush: rgb(0xfbe6e1), wire: rgb(0xb9a998),
		slate: rgb(0x1d4a72), gapTint: rgb(0xdfe9f2), thinTint: rgb(0xeff3f6),
		layers: [3]color.Color{rgb(0x5a1233), rgb(0xcb3a42), rgb(0xeeb05f)},
		tints:  [3]color.Color{rgb(0x976279), rgb(0xe28a8c), rgb(0xf6d5a2)},
		onTone: [3]color.Color{rgb(0xffffff), rgb(0xffffff), rgb(0x2a211d)},
		onTint: [3]color.Color{rgb(0xffffff), rgb(0x2a211d), rgb(0x2a211d)},
		other:  rgb(0xa59a91),
	}
}

// tone returns the fill of planting number n, from 1, and the colour of text
// on it.
func (p palette) tone(n int) (fill, text color.Color) {
	i := (n - 1) % len(p.layers)
	return p.layers[i], p.onTone[i]
}

// tint is tone for fruit that is less sure.
func (p palette) tint(n int) (fill, text color.Color) {
	i := (n - 1) % len(p.tints)
	return p.tints[i], p.onTint[i]
}
