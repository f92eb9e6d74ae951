//go:build full

package image

import (
	"encoding/binary"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/oracle"
)

// written is one file that an independent library wrote, and its pixels as the library reads them back.
type written struct {
	Name                          string
	Width, Height, Channels, Bits int
	Pixels                        []byte
}

// Files of sharp 0.35.5 (libvips; PNG whole and interlaced, palette, JPEG, TIFF with each compression, strips and tiles),
// pngjs 7.0.0 (16 bits), ktx-parse 1.1.0 (KTX2) and ktx2-encoder 0.6.0 (Basis Universal, refused by name): the pixels that
// those libraries read. JPEG decoders may differ by a step or two in rounding, more where chroma was thinned out.
func TestAgainstOtherLibraries(t *testing.T) {
	dir := t.TempDir()
	var got struct{ Files []written }
	oracle.Start(t, "images.mjs").Ask(map[string]any{"dir": dir}, &got)
	require.Greater(t, len(got.Files), 45)
	for _, w := range got.Files {
		data, err := os.ReadFile(filepath.Join(dir, w.Name))
		require.NoError(t, err)
		h, err := ReadHeader(w.Name, data)
		require.Equal(t, []int{w.Width, w.Height}, []int{h.Width, h.Height}, w.Name)
		if w.Pixels == nil {
			require.ErrorIs(t, err, ErrNotRead, w.Name)
			require.ErrorContains(t, err, map[string]string{"uastc.ktx2": "UASTC", "etc1s.ktx2": "ETC1S"}[w.Name])
			continue
		}
		require.NoError(t, err, w.Name)
		m, err := Decode(w.Name, data, Limits{}, 2)
		require.NoError(t, err, w.Name)
		require.Equal(t, w.Bits, m.Bits, w.Name)
		tolerance := 0
		if m.Lossy {
			if tolerance = 3; strings.Contains(w.Name, "420") {
				tolerance = 48
			}
		}
		compareWith(t, &w, m, tolerance)
	}
}

// compareWith holds an image against the library's pixels; grey may be told as one channel or as three alike.
func compareWith(t *testing.T, w *written, m *Image, tolerance int) {
	t.Helper()
	value := func(i int) int {
		if w.Bits == 16 {
			return int(binary.LittleEndian.Uint16(w.Pixels[2*i:]))
		}
		return int(w.Pixels[i])
	}
	row := make([]uint16, m.Width*m.Channels)
	for y := range m.Height {
		m.Row16(row, y)
		for x := range m.Width {
			for c := range w.Channels {
				v := int(row[x*m.Channels+min(c, m.Channels-1)])
				if m.Bits == 8 {
					v /= 257
				}
				if want := value((y*m.Width+x)*w.Channels + c); v-want > tolerance || want-v > tolerance {
					t.Fatalf("%s: %d instead of %d at %d,%d channel %d", w.Name, v, want, x, y, c)
				}
			}
		}
	}
}

// TGA as three 0.187.0's reader sees it: every kind and both origins.
func TestTGAAgainstThree(t *testing.T) {
	o := oracle.Start(t, "images.mjs")
	px := make([]byte, 7*5*4)
	for i := range px {
		px[i] = byte(i*37 + i*i)
	}
	runs := []byte{0x86, 10, 20, 30, 0x02, 1, 2, 3, 4, 5, 6, 7, 8, 9, 0x98, 90, 80, 70}
	for _, c := range []struct {
		name string
		data []byte
	}{
		{"24 up", tga(2, 24, 7, 5, 0x20, px[:105]...)}, {"24 down", tga(2, 24, 7, 5, 0, px[:105]...)},
		{"32 up", tga(2, 32, 7, 5, 0x20, px...)}, {"32 down", tga(2, 32, 7, 5, 0, px...)}, {"32 left", tga(2, 32, 7, 5, 0x30, px...)},
		{"grey", tga(3, 8, 7, 5, 0x20, px[:35]...)}, {"runs", tga(10, 24, 7, 5, 0x20, runs...)},
	} {
		var got written
		o.Ask(map[string]any{"tga": c.data}, &got)
		m, err := Decode("x.tga", c.data, Limits{}, 1)
		require.NoError(t, err, c.name)
		require.Equal(t, []int{got.Width, got.Height}, []int{m.Width, m.Height})
		for i := range m.Width * m.Height {
			for ch := range 3 {
				require.Equal(t, got.Pixels[4*i+ch], m.Pix8[i*m.Channels+min(ch, m.Channels-1)], "%s, texel %d channel %d", c.name, i, ch)
			}
		}
	}
}
