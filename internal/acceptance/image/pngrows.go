package image

import (
	"encoding/binary"
	"errors"
)

// unfilter undoes PNG's row filters (W3C PNG, third edition, clause 9) and spreads what rows hold into an image's
// channels.
type unfilter struct {
	p         *pngFile
	m         *Image
	row, step int
	direct    bool      // rows are the image's bytes as they are
	line      [2][]byte // else: the row above and this one
}

func newUnfilter(p *pngFile, m *Image) *unfilter {
	u := &unfilter{p: p, m: m}
	u.row, u.step = p.rowBytes()
	u.direct = p.FileBits == 8 && p.samples() == m.Channels && p.kind != pngPalette
	if !u.direct {
		u.line = [2][]byte{make([]byte, u.row), make([]byte, u.row)}
	}
	return u
}

// rows takes in whole rows, each behind its filter byte; the first is row y.
func (u *unfilter) rows(buf []byte, y int) error {
	for ; len(buf) > 0; y++ {
		filter, in := buf[0], buf[1:1+u.row]
		buf = buf[1+u.row:]
		var out, above []byte
		if u.direct {
			out = u.m.Pix8[y*u.row : (y+1)*u.row]
			if y > 0 {
				above = u.m.Pix8[(y-1)*u.row : y*u.row]
			}
		} else {
			out = u.line[y&1]
			if y > 0 {
				above = u.line[1-y&1]
			}
		}
		if !undo(filter, out, in, above, u.step) {
			return errors.New("a row has an unknown filter")
		}
		if !u.direct {
			if err := u.spread(out, y); err != nil {
				return err
			}
		}
	}
	return nil
}

// undo writes into out what in held before it was filtered; above is nil for the first row.
func undo(filter byte, out, in, above []byte, step int) bool {
	out = out[:len(in)]
	if above == nil {
		switch filter {
		case 2: // up: nothing is above
			filter = 0
		case 4: // Paeth of nothing above is the left one
			filter = 1
		case 3:
			copy(out, in[:step])
			for i := step; i < len(in); i++ {
				out[i] = in[i] + out[i-step]/2
			}
			return true
		}
	}
	switch filter {
	case 0:
		copy(out, in)
	case 1:
		copy(out, in[:step])
		left := out[:len(in)-step]
		now := out[step:]
		for i, v := range in[step:] {
			now[i] = v + left[i]
		}
	case 2:
		addBytes(out, in, above)
	case 3:
		average(out, in, above, step)
	case 4:
		paeth(out, in, above, step)
	default:
		return false
	}
	return true
}

// addBytes adds eight bytes at a time, keeping carries from running into the next byte.
func addBytes(out, a, b []byte) {
	const low = 0x7f7f7f7f7f7f7f7f
	n := len(out) &^ 7
	for i := 0; i < n; i += 8 {
		x, y := binary.LittleEndian.Uint64(a[i:]), binary.LittleEndian.Uint64(b[i:])
		binary.LittleEndian.PutUint64(out[i:], (x&low+y&low)^((x^y)&^low))
	}
	for i := n; i < len(out); i++ {
		out[i] = a[i] + b[i]
	}
}

func average(out, in, above []byte, step int) {
	above = above[:len(in)]
	for i := range step {
		out[i] = in[i] + above[i]/2
	}
	left := out[:len(in)-step]
	now, over := out[step:len(in)], above[step:]
	for i, v := range in[step:] {
		now[i] = v + uint8((int(left[i])+int(over[i]))/2)
	}
}

// paeth runs over channels two or three at a time: each waits for its own left neighbour, so several at once keep the
// processor busy.
func paeth(out, in, above []byte, step int) {
	switch step {
	case 3, 6:
		for c := 0; c < step; c += 3 {
			paeth3(out, in, above, c, step)
		}
	case 2, 4, 8:
		for c := 0; c < step; c += 2 {
			paeth2(out, in, above, c, step)
		}
	default:
		a, c := 0, 0
		for i, v := range in {
			b := int(above[i])
			a = int(v+guess(a, b, c)) & 255
			out[i], c = uint8(a), b
		}
	}
}

func paeth2(out, in, above []byte, from, step int) {
	a0, c0, a1, c1 := 0, 0, 0, 0
	for i := from; i+1 < len(in) && i+1 < len(out) && i+1 < len(above); i += step {
		b0, b1 := int(above[i]), int(above[i+1])
		a0 = int(in[i]+guess(a0, b0, c0)) & 255
		a1 = int(in[i+1]+guess(a1, b1, c1)) & 255
		out[i], out[i+1] = uint8(a0), uint8(a1)
		c0, c1 = b0, b1
	}
}

func paeth3(out, in, above []byte, from, step int) {
	a0, c0, a1, c1, a2, c2 := 0, 0, 0, 0, 0, 0
	for i := from; i+2 < len(in) && i+2 < len(out) && i+2 < len(above); i += step {
		b0, b1, b2 := int(above[i]), int(above[i+1]), int(above[i+2])
		a0 = int(in[i]+guess(a0, b0, c0)) & 255
		a1 = int(in[i+1]+guess(a1, b1, c1)) & 255
		a2 = int(in[i+2]+guess(a2, b2, c2)) & 255
		out[i], out[i+1], out[i+2] = uint8(a0), uint8(a1), uint8(a2)
		c0, c1, c2 = b0, b1, b2
	}
}

// guess is Paeth's predictor (9.4): of left, above and upper left the one nearest to left + above - upper left, the
// earlier of equals.
func guess(a, b, c int) uint8 {
	pa, pb := b-c, a-c
	pc := pa + pb
	pa, pb, pc = (pa^pa>>63)-pa>>63, (pb^pb>>63)-pb>>63, (pc^pc>>63)-pc>>63
	best := a
	if pb < pa {
		best, pa = b, pb
	}
	if pc < pa {
		best = c
	}
	return uint8(best)
}

// spread writes an unfiltered row that is not the image's bytes as they are.
func (u *unfilter) spread(row []byte, y int) error {
	n := u.m.Width * u.m.Channels
	switch {
	case u.p.kind == pngPalette:
		return u.spreadPalette(row, u.m.Pix8[y*n:(y+1)*n])
	case u.p.FileBits == 16:
		out := u.m.Pix16[y*n : (y+1)*n]
		if u.p.samples() == u.m.Channels {
			for i := range out {
				out[i] = binary.BigEndian.Uint16(row[2*i:])
			}
			return nil
		}
		keyed16(out, row, u.p.clear, u.m.Channels)
	case u.p.FileBits == 8: // a colour that stands for clear
		keyed8(u.m.Pix8[y*n:(y+1)*n], row, u.p.clear, u.m.Channels)
	default:
		u.spreadGrey(row, u.m.Pix8[y*n:(y+1)*n])
	}
	return nil
}

func keyed8(out, row, key []byte, channels int) {
	for i, o := 0, 0; o+channels <= len(out); i, o = i+channels-1, o+channels {
		clear := true
		for c := range channels - 1 {
			out[o+c] = row[i+c]
			clear = clear && key[2*c] == 0 && key[2*c+1] == row[i+c]
		}
		if out[o+channels-1] = 255; clear {
			out[o+channels-1] = 0
		}
	}
}

func keyed16(out []uint16, row, key []byte, channels int) {
	for i, o := 0, 0; o+channels <= len(out); i, o = i+2*(channels-1), o+channels {
		clear := true
		for c := range channels - 1 {
			out[o+c] = binary.BigEndian.Uint16(row[i+2*c:])
			clear = clear && out[o+c] == binary.BigEndian.Uint16(key[2*c:])
		}
		if out[o+channels-1] = 65535; clear {
			out[o+channels-1] = 0
		}
	}
}

// packed reads value x of a row of values of 1, 2, 4 or 8 bits, the leftmost in the upper bits.
func packed(row []byte, x, bits int) uint8 {
	at := x * bits
	return row[at/8] >> (8 - bits - at%8) & uint8(1<<bits-1)
}

func (u *unfilter) spreadPalette(row, out []byte) error {
	ch := u.m.Channels
	for x := range u.m.Width {
		v := int(packed(row, x, u.p.FileBits))
		if 3*v+3 > len(u.p.palette) {
			return errors.New("a pixel names a colour that its palette does not hold")
		}
		copy(out[x*ch:], u.p.palette[3*v:3*v+3])
		if ch == 4 {
			if out[4*x+3] = 255; v < len(u.p.clear) {
				out[4*x+3] = u.p.clear[v]
			}
		}
	}
	return nil
}

// spreadGrey widens grey of fewer than eight bits to the whole range.
func (u *unfilter) spreadGrey(row, out []byte) {
	ch, bits := u.m.Channels, u.p.FileBits
	full := uint8(1<<bits - 1)
	for x := range u.m.Width {
		v := packed(row, x, bits)
		out[x*ch] = v * (255 / full)
		if ch == 2 {
			if out[2*x+1] = 255; u.p.clear[0] == 0 && u.p.clear[1] == v {
				out[2*x+1] = 0
			}
		}
	}
}
