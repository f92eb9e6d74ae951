package image

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	stdpng "image/png"
	"io"

	"github.com/klauspost/compress/zlib"
)

var pngMagic = []byte("\x89PNG\r\n\x1a\n")

// Colour types of PNG (W3C PNG, third edition, 11.2.1).
const (
	pngGrey      = 0
	pngRGB       = 2
	pngPalette   = 3
	pngGreyAlpha = 4
	pngRGBA      = 6
)

// pngFile is a PNG with its chunks looked through.
type pngFile struct {
	Header
	kind       uint8 // colour type
	interlaced bool
	palette    []byte
	clear      []byte   // tRNS
	data       [][]byte // IDAT
}

// samples is the number of values that the file holds for a pixel.
func (p *pngFile) samples() int {
	return map[uint8]int{pngGrey: 1, pngRGB: 3, pngPalette: 1, pngGreyAlpha: 2, pngRGBA: 4}[p.kind]
}

// rowBytes is the length of a row without its filter byte, step the distance to the byte a filter looks back to.
func (p *pngFile) rowBytes() (row, step int) {
	bits := p.samples() * p.FileBits
	return (p.Width*bits + 7) / 8, max(1, bits/8)
}

// scanPNG walks the chunks to the last one and checks each one's CRC (W3C PNG, third edition, 5.3 to 5.6).
func scanPNG(data []byte) (pngFile, error) {
	var p pngFile
	p.Format, p.Levels = PNG, 1
	cut := func() error {
		return fmt.Errorf("it ends at byte %d in the middle of a chunk: %w", len(data), ErrShort)
	}
	if len(data) < len(pngMagic) {
		return p, cut()
	}
	for at := len(pngMagic); ; {
		if len(data)-at < 12 {
			return p, cut()
		}
		size := int64(binary.BigEndian.Uint32(data[at:]))
		if size > int64(len(data)-at-12) {
			return p, cut()
		}
		end := at + 8 + int(size)
		if crc32.ChecksumIEEE(data[at+4:end]) != binary.BigEndian.Uint32(data[end:]) {
			return p, fmt.Errorf("the chunk at byte %d does not match its checksum, so bytes were changed", at)
		}
		last, err := p.chunk(string(data[at+4:at+8]), data[at+8:end], at == len(pngMagic))
		if err != nil || last {
			return p, err
		}
		at = end + 4
	}
}

// chunk takes in one chunk; last says that it is the end.
func (p *pngFile) chunk(name string, body []byte, first bool) (last bool, err error) {
	if first != (name == "IHDR") {
		return false, errors.New("its first chunk is no image header, or there are two")
	}
	switch name {
	case "IHDR":
		return false, p.head(body)
	case "PLTE":
		if p.palette = body; len(body)%3 != 0 || len(body) == 0 || len(body) > 768 {
			return false, errors.New("its palette is broken")
		}
	case "tRNS":
		p.clear = body
		return false, p.transparent()
	case "IDAT":
		p.data = append(p.data, body)
	case "IEND":
		if len(p.data) == 0 || p.kind == pngPalette && p.palette == nil {
			return true, errors.New("it holds no pixels or no palette")
		}
		return true, nil
	case "cICP", "iCCP", "sRGB", "gAMA":
		p.colour(name, body)
	}
	return false, nil
}

func (p *pngFile) head(b []byte) error {
	if len(b) != 13 {
		return errors.New("its header is broken")
	}
	w, h := binary.BigEndian.Uint32(b), binary.BigEndian.Uint32(b[4:])
	bits := int(b[8])
	p.kind, p.interlaced = b[9], b[12] == 1
	var depths []int
	switch p.kind {
	case pngGrey:
		p.Channels, depths = 1, []int{1, 2, 4, 8, 16}
	case pngRGB:
		p.Channels, depths = 3, []int{8, 16}
	case pngPalette:
		p.Channels, depths = 3, []int{1, 2, 4, 8}
		p.Encoding = "palette"
	case pngGreyAlpha:
		p.Channels, depths = 2, []int{8, 16}
	case pngRGBA:
		p.Channels, depths = 4, []int{8, 16}
	}
	known := false
	for _, d := range depths {
		known = known || d == bits
	}
	if !known || w == 0 || h == 0 || w > 1<<31-1 || h > 1<<31-1 || b[10] != 0 || b[11] != 0 || b[12] > 1 {
		return errors.New("its header is broken")
	}
	p.Width, p.Height, p.FileBits = int(w), int(h), bits
	if p.Bits = 8; bits == 16 {
		p.Bits = 16
	}
	return nil
}

// transparent takes in what a tRNS chunk says: it gives the image an alpha channel (11.3.1.1).
func (p *pngFile) transparent() error {
	switch n := len(p.clear); {
	case p.kind == pngGrey && n == 2, p.kind == pngRGB && n == 6:
		p.Channels++
	case p.kind == pngPalette && n <= 256 && n <= len(p.palette)/3:
		p.Channels = 4
	default:
		return errors.New("its transparency chunk is broken")
	}
	return nil
}

// colour takes in what a chunk says of the values' meaning. Where several do, cICP wins over iCCP over sRGB over gAMA
// (W3C PNG, third edition, 4.3).
func (p *pngFile) colour(name string, body []byte) {
	rank := map[string]int{"gAMA chunk": 1, "sRGB chunk": 2, "iCCP chunk": 3, "cICP chunk": 4}
	from := name + " chunk"
	if rank[p.ColourFrom] >= rank[from] {
		return
	}
	c := Profile
	switch name {
	case "sRGB":
		c = SRGB
	case "cICP":
		if len(body) == 4 { // transfer characteristics of ITU-T H.273: 8 linear, 13 sRGB
			c = map[byte]Colour{8: Linear, 13: SRGB}[body[1]]
		}
		if c == Undeclared {
			c = Profile
		}
	case "gAMA":
		if len(body) != 4 {
			return
		}
		switch g := binary.BigEndian.Uint32(body); {
		case g == 100000:
			c = Linear
		case g >= 45000 && g <= 46000: // 45455 stands for sRGB
			c = SRGB
		}
	case "iCCP":
		c = iccChunk(body)
	}
	p.Colour, p.ColourFrom = c, from
}

// iccChunk reads the profile out of an iCCP chunk: a name, a zero, the method, and the profile in zlib.
func iccChunk(body []byte) Colour {
	i := bytes.IndexByte(body, 0)
	if i < 0 || i+2 > len(body) {
		return Profile
	}
	r, err := zlib.NewReader(bytes.NewReader(body[i+2:]))
	if err != nil {
		return Profile
	}
	defer r.Close()
	profile, _ := io.ReadAll(io.LimitReader(r, maxProfileBytes))
	return iccColour(profile)
}

// deflateRatio is the most that deflate can expand: a match of 258 bytes takes two bits at least (RFC 1951), so 1032.
const deflateRatio = 1032

func decodePNG(data []byte, lim Limits, threads int) (*Image, error) {
	p, err := scanPNG(data)
	if err != nil {
		return nil, err
	}
	if err := lim.check(p.Header); err != nil {
		return nil, err
	}
	packed := p.data[0]
	if len(p.data) > 1 {
		packed = bytes.Join(p.data, nil)
	}
	row, _ := p.rowBytes()
	if int64(p.Height)*int64(row) > deflateRatio*int64(len(packed)) {
		return nil, fmt.Errorf("its %d packed bytes cannot hold %d × %d pixels: %w", len(packed), p.Width, p.Height, ErrShort)
	}
	if p.interlaced { // rare in maps: the library's decoder serves
		img, err := stdpng.Decode(bytes.NewReader(data))
		if err != nil {
			return nil, err
		}
		return fromStd(img, p.Header, threads), nil
	}
	z, err := zlib.NewReader(bytes.NewReader(packed))
	if err != nil {
		return nil, fmt.Errorf("its pixels cannot be unpacked: %w", err)
	}
	defer z.Close()
	m := &Image{Header: p.Header}
	m.alloc()
	u := newUnfilter(&p, m)
	if err := pump(z, u, threads); err != nil {
		return nil, err
	}
	return m, nil
}

// bandBytes is about how much is unpacked before it is handed on: small enough for the second-level cache.
const bandBytes = 256 << 10

// pump unpacks rows and hands them to u: on two threads side by side, for unpacking can only run in order and so can
// most filters. It reads to the stream's end, so that its checksum is looked at.
func pump(z io.Reader, u *unfilter, threads int) error {
	stride := u.row + 1
	rows := max(1, bandBytes/stride)
	read := func(buf []byte, y int) (n int, err error) {
		n = min(rows, u.m.Height-y)
		if _, err = io.ReadFull(z, buf[:n*stride]); err != nil {
			if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
				err = ErrShort
			}
			return 0, fmt.Errorf("its pixels end at row %d or before: %w", y+n, err)
		}
		if y+n == u.m.Height {
			var rest [1]byte
			if _, err := io.ReadFull(z, rest[:]); err != nil && !errors.Is(err, io.EOF) {
				return 0, fmt.Errorf("its pixels cannot be unpacked: %w", err)
			}
		}
		return n, nil
	}
	if threads < 2 || u.m.Height <= rows {
		buf := make([]byte, min(rows, u.m.Height)*stride)
		for y := 0; y < u.m.Height; {
			n, err := read(buf, y)
			if err != nil {
				return err
			}
			if err := u.rows(buf[:n*stride], y); err != nil {
				return err
			}
			y += n
		}
		return nil
	}
	return pumpAside(u, rows*stride, read)
}

// pumpAside is pump with the reading on a goroutine of its own, one or two bands ahead.
func pumpAside(u *unfilter, size int, read func(buf []byte, y int) (int, error)) error {
	type band struct {
		buf []byte
		n   int
		err error
	}
	free, full := make(chan []byte, 3), make(chan band, 3)
	for range cap(free) {
		free <- make([]byte, size)
	}
	go func() {
		defer close(full)
		for y := 0; y < u.m.Height; {
			buf, more := <-free
			if !more {
				return
			}
			b := band{buf: buf}
			func() {
				defer caught(&b.err)
				b.n, b.err = read(buf, y)
			}()
			full <- b
			if b.err != nil {
				return
			}
			y += b.n
		}
	}()
	defer closeOnce(&free)
	y, failed := 0, error(nil)
	for b := range full {
		if failed == nil {
			failed = b.err
		}
		if failed == nil {
			failed = u.rows(b.buf[:b.n*(u.row+1)], y)
		}
		if y += b.n; failed == nil {
			free <- b.buf
		} else {
			closeOnce(&free)
		}
	}
	return failed
}

// closeOnce ends the reader's waiting; it reads nothing more.
func closeOnce(free *chan []byte) {
	if *free != nil {
		close(*free)
		*free = nil
	}
}
