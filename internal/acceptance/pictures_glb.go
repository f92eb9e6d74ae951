package acceptance

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/raster"
)

// modelStep is the share of the scale's half-range by which a colour in the model may be off: half a step of 8-bit
// colour. Doubling it would show as faint steps on flat faces.
const modelStep = 1.0 / 128

// deviationModel writes the game surface with the deviation as vertex colours, for a 3D viewer. glTF's colours are
// linear (glTF 2.0, 3.7.2.1); the scale is that of the picture.
func deviationModel(parts []compared, m *heatMesh) *drawn {
	var scene glbwrite.Scene
	material := &glbwrite.Material{Name: "deviation up to " + lengthText(m.rangeMM), DoubleSided: true,
		Extras: map[string]any{"range_mm": m.rangeMM, "limit_mm": m.limitMM, "scale": scaleStops(modelStops)}}
	for _, c := range parts {
		if c.heat == nil || len(c.heat.Tri) == 0 {
			continue
		}
		prim := coloured(c, m.rangeMM)
		prim.Material = material
		name := "deviation"
		if c.part.Name != "" {
			name += " " + c.part.Name
		}
		scene.Roots = append(scene.Roots, &glbwrite.Node{Name: name, Mesh: &glbwrite.Mesh{Name: name, Prims: []glbwrite.Prim{prim}}})
	}
	data, err := glbwrite.Bytes(scene)
	if err != nil {
		return nil
	}
	sum := sha256.Sum256(data)
	return &drawn{Picture: Picture{
		Name: "deviation.glb", MIME: "model/gltf-binary", Bytes: data, SHA256: hex.EncodeToString(sum[:]),
		What:   "The game surface as a model with the same colours, for a 3D viewer.",
		Checks: []string{"surface.poke_through", "surface.deviation"},
	}}
}

// coloured is a part's heat with colours. A game triangle on which the heights run evenly is written as one triangle,
// others as the pieces into which they were cut.
func coloured(c compared, rangeMM float64) glbwrite.Prim {
	h := c.heat
	var out glbwrite.Prim
	var height []float32
	at := make([]uint32, len(h.Pos)/3) // of a heat vertex in out, plus 1
	put := func(v uint32) {
		if at[v] == 0 {
			out.Pos = append(out.Pos, h.Pos[3*v:3*v+3]...)
			col := heatColour(h.HeightMM[v], rangeMM)
			out.Col = append(out.Col, col[0], col[1], col[2], 1)
			at[v] = uint32(len(out.Pos) / 3)
			height = append(height, modelHeight(h.HeightMM[v]))
		}
		out.Tri = append(out.Tri, at[v]-1)
	}
	for first := 0; first < len(h.Face); {
		end := first + 1
		for end < len(h.Face) && h.Face[end] == h.Face[first] {
			end++
		}
		if whole, ok := evenFace(c, int(h.Face[first]), h.Tri[3*first:3*end], rangeMM*modelStep); ok {
			put(whole[0])
			put(whole[1])
			put(whole[2])
		} else {
			for _, v := range h.Tri[3*first : 3*end] {
				put(v)
			}
		}
		first = end
	}
	out.Own = []glbwrite.Values{{Name: "_HEIGHT_MM", Values: height}}
	return out
}

// modelHeight is a height as it stands in the model, in millimetres: not a number cannot be stored (glTF 2.0, 3.6.2.2), so a
// vertex with no sculpt has a height that no prop reaches.
func modelHeight(h float32) float32 {
	if h != h {
		return noHeightMM
	}
	return h
}

// noHeightMM marks a vertex of the deviation model that has no sculpt to compare with.
const noHeightMM = 1e9

// evenFace finds the heat vertices at the corners of a game triangle and tells whether those between them have the
// heights, within tol millimetres, that lie evenly between the corners'.
func evenFace(c compared, face int, pieces []uint32, tol float64) (whole [3]uint32, ok bool) {
	if 3*face+3 > len(c.part.Game.Tri) {
		return whole, false
	}
	corner := c.part.Game.Tri[3*face : 3*face+3]
	found := 0
	for k, g := range corner {
		for _, v := range pieces {
			if [3]float32(c.heat.Pos[3*v:3*v+3]) == [3]float32(c.part.Game.Pos[3*g:3*g+3]) {
				whole[k], found = v, found+1
				break
			}
		}
	}
	if found < 3 {
		return whole, false
	}
	a, b, d := point(c.heat.Pos, whole[0]), point(c.heat.Pos, whole[1]), point(c.heat.Pos, whole[2])
	n := cross(sub(b, a), sub(d, a))
	area := lenSq(n)
	if !(area > 0) {
		return whole, false
	}
	height := func(v uint32) float64 { return float64(c.heat.HeightMM[v]) }
	for _, v := range pieces {
		p := point(c.heat.Pos, v)
		wb := dot(n, cross(sub(p, a), sub(d, a))) / area
		wd := dot(n, cross(sub(b, a), sub(p, a))) / area
		want := float64(height(whole[0])*(1-wb-wd)) + float64(height(whole[1])*wb) + float64(height(whole[2])*wd)
		if !(math.Abs(height(v)-want) <= tol) {
			return whole, false
		}
	}
	return whole, true
}

// modelStops is how many colours of the scale a model names: enough that straight lines between them are not seen.
const modelStops = 13

// scaleStops are colours of the deviation's scale at even steps from end to end, as a page writes them.
func scaleStops(n int) []string {
	out := make([]string, n)
	for i := range out {
		c := raster.Signed.At(float64(i) / float64(n-1))
		out[i] = fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B)
	}
	return out
}

// heatColour is the scale's colour of a height, in linear light; grey where there is no sculpt.
func heatColour(h float32, rangeMM float64) [3]float32 {
	c := raster.Colour{R: 150, G: 148, B: 145}.Linear()
	if h == h {
		c = raster.Signed.LinearAt(0.5 + float64(h)/(2*rangeMM))
	}
	for k := range c {
		c[k] = min(max(c[k], 0), 1)
	}
	return c
}
