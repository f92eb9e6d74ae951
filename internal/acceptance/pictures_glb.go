package acceptance

import (
	"crypto/sha256"
	"encoding/hex"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/raster"
)

// deviationModel writes the game surface with the deviation as vertex colours, for a 3D viewer. glTF's colours are
// linear (glTF 2.0, 3.7.2.1); the scale is that of the picture.
func deviationModel(m *heatMesh) (Picture, bool) {
	if len(m.tri) == 0 {
		return Picture{}, false
	}
	col := make([]float32, 0, len(m.height)*4)
	grey := raster.Colour{R: 150, G: 148, B: 145}.Linear()
	for _, h := range m.height {
		c := grey
		if h == h {
			c = raster.Signed.LinearAt(0.5 + float64(h)/(2*m.rangeMM))
		}
		for k := range c {
			c[k] = min(max(c[k], 0), 1)
		}
		col = append(col, c[0], c[1], c[2], 1)
	}
	data, err := glbwrite.Bytes(glbwrite.Single("deviation", glbwrite.Prim{
		Pos: m.pos, Col: col, Tri: m.tri,
		Material: &glbwrite.Material{Name: "deviation of up to " + lengthText(m.rangeMM), DoubleSided: true},
	}))
	if err != nil {
		return Picture{}, false
	}
	sum := sha256.Sum256(data)
	return Picture{
		Name: "deviation.glb", MIME: "model/gltf-binary", Bytes: data, SHA256: hex.EncodeToString(sum[:]),
		What:   "The game surface as a model with the same colours, for a 3D viewer.",
		Checks: []string{"surface.poke_through", "surface.deviation"},
	}, true
}
