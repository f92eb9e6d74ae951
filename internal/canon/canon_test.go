package canon

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestRFC8785Numbers is the table of RFC 8785, appendix B: IEEE 754 bits and the text they must become.
func TestRFC8785Numbers(t *testing.T) {
	t.Parallel()
	rows := []struct {
		bits uint64
		want string
	}{
		{0x0000000000000000, "0"},
		{0x8000000000000000, "0"},
		{0x0000000000000001, "5e-324"},
		{0x8000000000000001, "-5e-324"},
		{0x7fefffffffffffff, "1.7976931348623157e+308"},
		{0xffefffffffffffff, "-1.7976931348623157e+308"},
		{0x4340000000000000, "9007199254740992"},
		{0xc340000000000000, "-9007199254740992"},
		{0x4430000000000000, "295147905179352830000"},
		{0x44b52d02c7e14af5, "9.999999999999997e+22"},
		{0x44b52d02c7e14af6, "1e+23"},
		{0x44b52d02c7e14af7, "1.0000000000000001e+23"},
		{0x444b1ae4d6e2ef4e, "999999999999999700000"},
		{0x444b1ae4d6e2ef4f, "999999999999999900000"},
		{0x444b1ae4d6e2ef50, "1e+21"},
		{0x3eb0c6f7a0b5ed8c, "9.999999999999997e-7"},
		{0x3eb0c6f7a0b5ed8d, "0.000001"},
		{0x41b3de4355555553, "333333333.3333332"},
		{0x41b3de4355555554, "333333333.33333325"},
		{0x41b3de4355555555, "333333333.3333333"},
		{0x41b3de4355555556, "333333333.3333334"},
		{0x41b3de4355555557, "333333333.33333343"},
		{0xbecbf647612f3696, "-0.0000033333333333333333"},
		{0x43143ff3c1cb0959, "1424953923781206.2"},
	}
	for _, r := range rows {
		t.Run(fmt.Sprintf("%016x", r.bits), func(t *testing.T) {
			t.Parallel()
			v := math.Float64frombits(r.bits)
			// With an exponent, so that it is a double and not an integer beyond 2^53.
			got, err := Transform([]byte(strconv.FormatFloat(v, 'e', -1, 64)))
			require.NoError(t, err)
			require.Equal(t, r.want, string(got))
		})
	}
}

// TestRFC8785Documents are the examples of RFC 8785, sections 3.2.2 and 3.2.3.
func TestRFC8785Documents(t *testing.T) {
	t.Parallel()
	rows := []struct{ name, in, want string }{
		{"section 3.2.2: literals, numbers, strings",
			`{
       "numbers": [333333333.33333329, 1E30, 4.50,
                   2e-3, 0.000000000000000000000000001],
       "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
       "literals": [null, true, false]
     }`,
			`{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],` +
				`"string":"€$\u000f\nA'B\"\\\\\"/"}`},
		{"section 3.2.3: order by UTF-16 code units",
			`{
       "\u20ac": "Euro Sign",
       "\r": "Carriage Return",
       "\ufb33": "Hebrew Letter Dalet With Dagesh",
       "1": "One",
       "\ud83d\ude00": "Emoji: Grinning Face",
       "\u0080": "Control",
       "\u00f6": "Latin Small Letter O With Diaeresis"
     }`,
			`{"\r":"Carriage Return","1":"One","` + "\u0080" + `":"Control","ö":"Latin Small Letter O With Diaeresis",` +
				`"€":"Euro Sign","😀":"Emoji: Grinning Face","` + "\ufb33" + `":"Hebrew Letter Dalet With Dagesh"}`},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			got, err := Transform([]byte(r.in))
			require.NoError(t, err)
			require.Equal(t, r.want, string(got))
		})
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	rows := []struct{ name, in string }{
		{"key twice", `{"a":1,"a":2}`},
		{"key twice by escape", `{"a":1,"\u0061":2}`},
		{"integer beyond 2^53", `9007199254740993`},
		{"number out of range", `1e400`},
		{"half a surrogate pair", `"\ud83d"`},
		{"two high halves", `"\ud83d\ud83d"`},
		{"not UTF-8", "\"\xff\""},
		{"two documents", `{} {}`},
		{"cut short", `{"a":`},
		{"nothing", ``},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			_, err := Transform([]byte(r.in))
			require.Error(t, err)
		})
	}
	_, err := Marshal(map[string]any{"v": math.NaN()})
	require.Error(t, err)
}

// Laws: the canonical form of a canonical form is itself, and it holds the same number.
func TestLaws(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := map[string]any{
			"n": rapid.Float64().Draw(t, "n"),
			"s": rapid.String().Draw(t, "s"),
			"l": rapid.SliceOf(rapid.IntRange(-1<<53, 1<<53)).Draw(t, "l"),
			"m": rapid.MapOf(rapid.String(), rapid.Bool()).Draw(t, "m"),
		}
		once, err := Marshal(v)
		require.NoError(t, err)
		twice, err := Transform(once)
		require.NoError(t, err)
		require.Equal(t, string(once), string(twice))
	})
}

func BenchmarkTransform(b *testing.B) {
	doc := []byte(`{"findings":[{"check":"uv.padding","metrics":{"min_px":3.25,"mip_levels":1},"where":[{"uv":[0.1,0.2]}]}]}`)
	b.SetBytes(int64(len(doc)))
	for b.Loop() {
		if _, err := Transform(doc); err != nil {
			b.Fatal(err)
		}
	}
}
