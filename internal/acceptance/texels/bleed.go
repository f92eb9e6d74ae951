package texels

import (
	"cmp"
	"slices"

	"proofhouse/internal/acceptance/image"
)

// Bleed is how far a map's colour is carried past the edge of what a mask covers.
type Bleed struct {
	Px            int      // whole rings of texels around islands to which colour is carried, at most Reach
	Reach         int      // as far as was looked
	Telling, Bare int      // texels within reach that could tell, and those of them that show the background
	Spots         []Spot   // the nearest bare texels, spread over the map, nearest first
	Ground        [3]uint8 // the background's colour, upper bytes
	Flat          bool     // there is a background at all
}

// Spot is one texel and how far it is from what is covered.
type Spot struct {
	X, Y int
	Ring int
}

// Tolerances in steps of 8 bits.
const (
	sameGround  = 1  // as the background: fills are exact
	lossyGround = 6  // in a JPEG or block-compressed map
	tellsApart  = 12 // from the island's own colour: below, a missing bleed shows no seam
)

// strayShare is the share of a ring's telling texels that may show the background before the ring counts as bare:
// bakers and we round edges differently in single texels. Doubling it hides bare stretches of 2 % of all outlines.
const strayShare = 0.01

// groundShare is the share of what lies around islands that must have one colour for it to be called the background.
const groundShare = 0.05

// maxSpots is how many bare places are told.
const maxSpots = 10

// CarriedPast measures bleed. near is of the mask and has the image's size. A texel outside islands is bare where it has
// the background's colour and the island next to it has not; texels that lie between two islands are left out, for each
// has only half of the gap. A map without a background is carried all over.
func CarriedPast(img *image.Image, m *Mask, near *Near, threads int) Bleed {
	b := Bleed{Reach: near.Reach}
	p := pixels{img: img, colours: min(img.Channels, 3)}
	if img.Channels == 2 && img.HasAlpha() {
		p.colours = 1
	}
	var ground [3]int
	if ground, b.Flat = p.ground(m, near); !b.Flat {
		b.Px = near.Reach
		return b
	}
	for c := range ground {
		b.Ground[c] = uint8(ground[c])
	}
	same := sameGround
	if img.Lossy {
		same = lossyGround
	}
	parts := summed(m.H, threads, func(from, to int) rings { return p.rings(m, near, ground, same, from, to) })
	telling, bare := make([]int, near.Reach+1), make([]int, near.Reach+1)
	var spots []Spot
	for _, t := range parts {
		for r := range telling {
			telling[r] += t.telling[r]
			bare[r] += t.bare[r]
			b.Telling += t.telling[r]
			b.Bare += t.bare[r]
		}
		spots = append(spots, t.spots...)
	}
	for b.Px = 0; b.Px < near.Reach && float64(bare[b.Px+1]) <= strayShare*float64(telling[b.Px+1]); b.Px++ {
	}
	b.Spots = spread(spots, max(m.W, m.H)/16)
	return b
}

// rings counts texels by their distance from what is covered.
type rings struct {
	telling, bare []int
	spots         []Spot
}

// rings counts the texels of some rows: those that could tell, and those of them that show the background.
func (p *pixels) rings(m *Mask, near *Near, ground [3]int, same, from, to int) rings {
	t := rings{telling: make([]int, near.Reach+1), bare: make([]int, near.Reach+1)}
	for y := from; y < to; y++ {
		for x := range m.W {
			i := y*m.W + x
			sq := near.SqOf[i]
			if sq == 0 || sq == Far {
				continue
			}
			if !p.apart((y+int(near.DY[i]))*m.W+x+int(near.DX[i]), ground, tellsApart) || between(m, near, x, y) {
				continue
			}
			ring := ringOf(int(sq))
			if ring > near.Reach {
				continue
			}
			t.telling[ring]++
			if !p.apart(i, ground, same) && p.plain(m, near, x, y, ground, same) {
				t.bare[ring]++
				t.spots = keepSpot(t.spots, Spot{x, y, ring})
			}
		}
	}
	return t
}

// pixels reads an image's colours in steps of 8 bits.
type pixels struct {
	img     *image.Image
	colours int
}

func (p *pixels) at(i, c int) int {
	at := i*p.img.Channels + c
	if p.img.Bits == 16 {
		return int(p.img.Pix16[at] >> 8)
	}
	return int(p.img.Pix8[at])
}

// apart says whether a texel differs from a colour by more than a tolerance in any channel.
func (p *pixels) apart(i int, from [3]int, tolerance int) bool {
	for c := range p.colours {
		if d := p.at(i, c) - from[c]; d > tolerance || -d > tolerance {
			return true
		}
	}
	return false
}

// A texel of the background lies among others of it: plainReach to each side, plainShare of those that are no nearer to an
// island. Where islands are carried on as streaks, single ones may have the background's colour by chance.
const (
	plainReach = 3
	plainShare = 0.75
)

// plain says whether what lies around a texel, no nearer to an island than it, is background.
func (p *pixels) plain(m *Mask, near *Near, x, y int, ground [3]int, tolerance int) bool {
	sq := near.SqOf[y*m.W+x]
	all, like := 0, 0
	for py := max(y-plainReach, 0); py <= min(y+plainReach, m.H-1); py++ {
		for px := max(x-plainReach, 0); px <= min(x+plainReach, m.W-1); px++ {
			i := py*m.W + px
			if m.In[i] != 0 || near.SqOf[i] < sq {
				continue
			}
			all++
			if !p.apart(i, ground, tolerance) {
				like++
			}
		}
	}
	return float64(like) >= plainShare*float64(all)
}

// ground finds the background: the commonest colour of texels out of reach, or where there are few of those, of all
// that are not covered. ok is false where none has groundShare of them.
func (p *pixels) ground(m *Mask, near *Near) (colour [3]int, ok bool) {
	for _, far := range []bool{true, false} {
		count, seen := map[[3]int]int{}, 0
		step := max(1, len(m.In)>>16) | 1 // some 65536 texels, not all in one column
		for i := 0; i < len(m.In); i += step {
			if m.In[i] != 0 || far && near.SqOf[i] != Far {
				continue
			}
			var c [3]int
			for k := range p.colours {
				c[k] = p.at(i, k)
			}
			count[c]++
			seen++
		}
		if seen < 64 && far {
			continue
		}
		best := 0
		for c, n := range count { // the commonest, of equals the darkest: the order of the map does not matter
			if n > best || n == best && slices.Compare(c[:], colour[:]) < 0 {
				best, colour = n, c
			}
		}
		return colour, seen > 0 && float64(best) >= groundShare*float64(seen)
	}
	return colour, false
}

// between says whether a texel lies between two islands: two texels on, away from the one that is nearest, another is
// as near.
func between(m *Mask, near *Near, x, y int) bool {
	i := y*m.W + x
	dx, dy := int(near.DX[i]), int(near.DY[i])
	d := ringOf(int(near.SqOf[i]))
	bx, by := x-roundDiv(2*dx, d), y-roundDiv(2*dy, d)
	if bx < 0 || by < 0 || bx >= m.W || by >= m.H {
		return false
	}
	sq := int(near.SqOf[by*m.W+bx])
	return sq <= d*d
}

func roundDiv(a, b int) int {
	if a < 0 {
		return -((-a + b/2) / b)
	}
	return (a + b/2) / b
}

// ringOf is the distance of a squared distance in whole texels, rounded up: a disc of radius r fills rings 1 to r.
func ringOf(sq int) int {
	r := 1
	for r*r < sq {
		r++
	}
	return r
}

// keepSpot keeps the nearest few of a strip.
func keepSpot(list []Spot, s Spot) []Spot {
	if len(list) == maxSpots && s.Ring >= list[len(list)-1].Ring {
		return list
	}
	at, _ := slices.BinarySearchFunc(list, s, func(a, b Spot) int {
		if a.Ring <= b.Ring {
			return -1
		}
		return 1
	})
	list = slices.Insert(list, at, s)
	return list[:min(len(list), maxSpots)]
}

// spread picks the nearest spots that lie apart from each other.
func spread(list []Spot, apart int) []Spot {
	slices.SortFunc(list, func(a, b Spot) int { return cmp.Or(a.Ring-b.Ring, a.Y-b.Y, a.X-b.X) })
	var out []Spot
	for _, s := range list {
		close := slices.ContainsFunc(out, func(o Spot) bool { return abs(o.X-s.X) < apart && abs(o.Y-s.Y) < apart })
		if !close {
			if out = append(out, s); len(out) == maxSpots {
				break
			}
		}
	}
	return out
}

func abs(v int) int { return max(v, -v) }
