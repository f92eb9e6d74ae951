package acceptance

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"image"
	"image/png"

	"proofhouse/internal/acceptance/bake"
)

// keepBakes leaves our own bakes of a set behind as 16-bit PNG: normals in the contract's convention, where the sculpt was
// met (x, y and z over its bounding box), and occlusion. Their size is that of the set's reference map, the grid's at most.
func (m *bakeMeasure) keepBakes(ctx context.Context, s *Subject, set *Set, scene *bakeScene) {
	most := clampGrid(int(s.Spec.Rule(rebakeDef.Name, nil, &set.Def).Numbers["grid_px"]))
	w, h := set.WidthPx, set.HeightPx
	if w <= 0 || h <= 0 {
		w, h = most, most
	}
	grid := bake.NewGrid(w, h, most)
	game := scene.ofTile(0)
	if len(m.maps) > 0 && m.maps[0].tile > 0 {
		game = scene.ofTile(m.maps[0].tile)
	}
	own, err := bake.Project(ctx, game, scene.sculpts, grid, bake.Options{Threads: s.Threads, Places: true})
	if err != nil {
		return
	}
	suffix := ".png"
	if len(s.Sets) > 1 {
		suffix = "_" + fileWord(set.Name) + ".png"
	}
	down := orElse(set.Def.Green, s.Spec.Conventions.Green) == "down"
	m.keepImage("bake_normal"+suffix, "Our own normal map, baked from the sculpt.", grid.W, grid.H, 3, own.Image(down))
	m.keepImage("bake_position"+suffix, "Where the rays of our own bake met the sculpt, over its bounding box.", grid.W, grid.H, 3, own.Place)
	occ, err := coarseOcclusion(ctx, s, set)
	if err == nil && occ != nil {
		m.keepImage("bake_occlusion"+suffix, "Our own coarse occlusion, white where all is open.", occ.W, occ.H, 1, occ.Values16())
	}
}

// keepImage encodes 16-bit values as PNG.
func (m *bakeMeasure) keepImage(name, what string, w, h, channels int, values []uint16) {
	var img image.Image
	sum := sha256.New()
	var size [8]byte
	binary.LittleEndian.PutUint32(size[:4], uint32(w))
	binary.LittleEndian.PutUint32(size[4:], uint32(h))
	sum.Write(size[:])
	pix := make([]byte, 0, 8*w*h)
	for i := 0; i < len(values); i += channels {
		for k := range channels {
			pix = binary.BigEndian.AppendUint16(pix, values[i+k])
		}
		if channels == 3 {
			pix = append(pix, 0xff, 0xff)
		}
	}
	sum.Write(pix)
	if channels == 1 {
		img = &image.Gray16{Pix: pix, Stride: 2 * w, Rect: image.Rect(0, 0, w, h)}
	} else {
		img = &image.NRGBA64{Pix: pix, Stride: 8 * w, Rect: image.Rect(0, 0, w, h)}
	}
	var out bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	if enc.Encode(&out, img) != nil {
		return
	}
	m.keep = append(m.keep, Picture{Name: name, What: what, MIME: "image/png", Bytes: out.Bytes(), SHA256: hex.EncodeToString(sum.Sum(nil)),
		Checks: []string{rebakeDef.Name}})
}

// occlusionEdge is the size of the coarse occlusion and occlusionRays the rays of a texel: enough to tell dark corners from
// open faces, and too few for shading.
const (
	occlusionEdge = 128
	occlusionRays = 48
)

// coarseOcclusion is how open the sculpt lies under each texel of a set, over a grid of occlusionEdge texels: 1 where no ray of
// occlusionRays in the hemisphere is stopped within a quarter of the prop's diagonal. Nil where nothing can be baked.
func coarseOcclusion(ctx context.Context, s *Subject, set *Set) (*bake.Occlusion, error) {
	if nothingToBake(s, set) != nil {
		return nil, nil
	}
	scene := newBakeScene(s, set)
	defer scene.letGo()
	if len(scene.sculpts) == 0 {
		return nil, nil
	}
	w, h := set.WidthPx, set.HeightPx
	if w <= 0 || h <= 0 {
		w, h = occlusionEdge, occlusionEdge
	}
	return bake.Occlude(ctx, scene.game, scene.sculpts, bake.NewGrid(w, h, occlusionEdge), occlusionRays, diagonalMM(&set.Game)/4000, s.Threads)
}

// keptBakes are the bakes that were left behind, named in the findings of their sets.
func keptBakes(ctx context.Context, s *Subject, findings []Finding) []Picture {
	var out []Picture
	for _, set := range s.Sets {
		if !s.keepBake || set.bakes == nil {
			continue
		}
		for _, p := range bakesOf(ctx, s, set).keep {
			for i := range findings {
				if findings[i].Set == set.Name && findings[i].Check == rebakeDef.Name {
					findings[i].Pictures = append(findings[i].Pictures, p.Name)
				}
			}
			p.Checks = nil
			out = append(out, p)
		}
	}
	return out
}
