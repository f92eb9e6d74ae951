package web

import (
	"bytes"
	"context"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"

	"github.com/stretchr/testify/require"
)

// pictures are small ones of each kind that a browser shows.
func pictures(tb testing.TB) (all [][]byte) {
	box := image.Rect(0, 0, 9, 5)
	deep, grey, few := image.NewNRGBA64(box), image.NewGray16(box), image.NewPaletted(box, color.Palette{color.Black, color.White})
	for x := range 9 {
		deep.Set(x, x%5, color.NRGBA64{uint16(x * 7000), 300, 60000, 40000})
		grey.Set(x, x%5, color.Gray16{uint16(x * 7000)})
		few.Set(x, x%5, color.White)
	}
	for _, m := range []image.Image{deep, grey, few} {
		var p, j bytes.Buffer
		require.NoError(tb, png.Encode(&p, m))
		require.NoError(tb, jpeg.Encode(&j, m, nil))
		all = append(all, p.Bytes(), j.Bytes())
	}
	return all
}

// claiming is a picture whose header says another size.
func claiming(tb testing.TB, data []byte, width, height uint32) []byte {
	tb.Helper()
	data = bytes.Clone(data)
	require.Equal(tb, "IHDR", string(data[12:16]))
	binary.BigEndian.PutUint32(data[16:], width)
	binary.BigEndian.PutUint32(data[20:], height)
	binary.BigEndian.PutUint32(data[29:], crc32.ChecksumIEEE(data[12:29]))
	return data
}

// A header that claims more than its bytes unpack to, or more than one preview may take, is refused before there is room for it.
func TestPicturesThatClaimTooMuchAreNotUnpacked(t *testing.T) {
	t.Parallel()
	all := pictures(t)
	for _, c := range []struct {
		name          string
		width, height uint32
	}{{"8,192 by 8,192 in some bytes", 8192, 8192}, {"60,000 by 60,000", 60_000, 60_000}, {"a line without end", 1<<31 - 1, 1}} {
		for _, data := range [][]byte{all[0], all[2], all[4]} {
			_, err := unpacked(claiming(t, data, c.width, c.height))
			require.Error(t, err, c.name)
		}
	}
	for _, data := range all {
		need, err := unpacked(data)
		require.NoError(t, err)
		require.Positive(t, need)
		out, err := preview(t.Context(), data, 4, "Ole Brandt · 2026-11-28")
		require.NoError(t, err)
		small, err := jpeg.DecodeConfig(bytes.NewReader(out))
		require.NoError(t, err)
		require.Equal(t, [2]int{4, 2}, [2]int{small.Width, small.Height})
	}
	require.NoError(t, previews.Acquire(t.Context(), previewDecodeMax), "all that was taken was given back")
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	_, err := preview(gone, all[0], 4, "")
	require.ErrorIs(t, err, context.Canceled, "who has gone does not wait for room")
	previews.Release(previewDecodeMax)
}

// FuzzPreview makes previews of anything: it ends, and what comes out is a picture of the size that was asked for. Checksums of
// PNGs are mended, so that tries get past them.
func FuzzPreview(f *testing.F) {
	for _, data := range pictures(f) {
		f.Add(data, "")
	}
	f.Add(pictures(f)[0], "Ole Brandt · Brackwater Props · 2026-11-28")
	f.Fuzz(func(t *testing.T, data []byte, mark string) {
		data = bytes.Clone(data)
		for at := int64(8); at+12 <= int64(len(data)); {
			end := at + 8 + int64(binary.BigEndian.Uint32(data[at:]))
			if end+4 > int64(len(data)) {
				break
			}
			binary.BigEndian.PutUint32(data[end:], crc32.ChecksumIEEE(data[at+4:end]))
			at = end + 4
		}
		if need, err := unpacked(data); err != nil || need > 1<<20 {
			return // a try must be quick
		}
		out, err := preview(t.Context(), data, 32, mark[:min(len(mark), 60)])
		if err != nil {
			return
		}
		c, err := jpeg.DecodeConfig(bytes.NewReader(out))
		require.NoError(t, err)
		require.LessOrEqual(t, max(c.Width, c.Height), 32)
	})
}
