package words

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
	"golang.org/x/text/message"
	xnumber "golang.org/x/text/number"
	"pgregory.net/rapid"

	"proofhouse/internal/canon"
)

// TestNumbers: every kind of argument in both languages, at the edges where its writing changes.
func TestNumbers(t *testing.T) {
	t.Parallel()
	rows := []struct {
		arg    Arg
		en, de string
	}{
		{Count(0), "0", "0"}, {Count(9999), "9999", "9999"}, {Count(10000), "10,000", "10.000"}, {Count(1234567), "1,234,567", "1.234.567"},
		{Num(2.5), "2.5", "2,5"}, {Num(1234567), "1,234,567", "1.234.567"}, {Num(0.000123456), "0.0001235", "0,0001235"},
		{Num(9999.96), "10,000", "10.000"},
		{MM(0), "0 mm", "0 mm"}, {MM(0.0312), "0.031 mm", "0,031 mm"}, {MM(0.0949), "0.095 mm", "0,095 mm"}, {MM(4.06), "4.1 mm", "4,1 mm"}, {MM(12), "12.0 mm", "12,0 mm"}, {MM(380.4), "380 mm", "380 mm"},
		{MM(-0.0001), "-0.0001 mm", "-0,0001 mm"},
		{MMExact(1234.56), "1235 mm", "1235 mm"}, {MMExact(0.5), "0.5 mm", "0,5 mm"},
		{SizeMM([3]float64{1200, 80.25, 0.5}), "1200 × 80.25 × 0.5 mm", "1200 × 80,25 × 0,5 mm"},
		{PointMM([3]float64{-0.2, 12.6, 10400}), "(0, 13, 10,400) mm", "(0; 13; 10.400) mm"},
		{MM2(2.345), "2.3 mm²", "2,3 mm²"}, {MM2(38.2), "38 mm²", "38 mm²"}, {MM2(123456), "12.3 dm²", "12,3 dm²"},
		{Share(0), "0 %", "0 %"}, {Share(0.0001), "less than 0.1 %", "weniger als 0,1 %"}, {Share(0.5), "50 %", "50 %"},
		{Share(0.123), "12.3 %", "12,3 %"}, {Share(0.99999), "more than 99.9 %", "mehr als 99,9 %"}, {Share(1), "100 %", "100 %"},
		{ShareFine(0.98765), "98.77 %", "98,77 %"},
		{Px(0.456), "0.46 px", "0,46 px"}, {Px(12.34), "12.3 px", "12,3 px"}, {Px(1234), "1234 px", "1234 px"},
		{SizePx(2048, 1024), "2048 × 1024 px", "2048 × 1024 px"}, {PxPerM(511.7), "512 px/m", "512 px/m"},
		{Deg(90), "90°", "90°"}, {Deg(3.44), "3.4°", "3,4°"},
		{Bytes(12), "12 bytes", "12 bytes"}, {Bytes(1536), "1.5 KiB", "1,5 KiB"}, {Bytes(int64(5) << 30), "5.0 GiB", "5,0 GiB"},
		{Num(math.NaN()), "not a finite number", "keine endliche Zahl"}, {MM(math.Inf(1)), "not a finite number", "keine endliche Zahl"},
		{Names("a", "b"), "a, b", "a, b"}, {List(Count(1), Px(2)), "1, 2 px", "1, 2 px"},
		{And("a", "b", "c"), "a, b and c", "a, b und c"}, {And("a"), "a", "a"}, {And(), "", ""},
		{Name("a\x1b[2J\u202eb 漢字"), `a\x1b[2J\u202eb 漢字`, `a\x1b[2J\u202eb 漢字`}, {Said(""), "", ""},
		{Term("less_than"), "less than", "weniger als"}, {Said(Literal, Name("x")), "x", "x"},
	}
	de, ok := In("de-AT")
	require.True(t, ok)
	for _, r := range rows {
		require.Equal(t, r.en, English().arg(r.arg, ""), "%+v", r.arg)
		require.Equal(t, r.de, de.arg(r.arg, ""), "%+v", r.arg)
	}
}

// TestSignsAgainstCLDR holds decimal and thousands signs against the Unicode CLDR's data as golang.org/x/text has them.
func TestSignsAgainstCLDR(t *testing.T) {
	t.Parallel()
	for _, l := range Languages() {
		want := message.NewPrinter(language.MustParse(l.Tag)).Sprint(xnumber.Decimal(1234567.25))
		require.Equal(t, want, l.Fixed(1234567.25, 2), l.Tag)
	}
}

// TestPluralsAgainstCLDR holds the plural rules against the Unicode CLDR's, a language for each rule and those spoken.
func TestPluralsAgainstCLDR(t *testing.T) {
	t.Parallel()
	rules := map[string]string{"ja": "none", "en": "one-other", "de": "one-other", "fr": "zero-one", "pl": "one-few-many"}
	for tag, rule := range rules {
		seen := map[int]plural.Form{}
		for n := range 1200 {
			want := plural.Cardinal.MatchPlural(language.MustParse(tag), n, 0, 0, 0, 0)
			form := pluralRules[rule].of(n)
			require.Less(t, form, pluralRules[rule].forms)
			if known, ok := seen[form]; ok {
				require.Equal(t, known, want, "%s, %d", tag, n)
			}
			seen[form] = want
		}
		require.Len(t, seen, pluralRules[rule].forms, tag)
	}
	for _, l := range Languages() {
		require.Contains(t, rules, l.Tag, "this test has no row for the language")
	}
}

func TestTemplates(t *testing.T) {
	t.Parallel()
	tree := fstest.MapFS{
		"en/language.yaml": {Data: []byte("name: English\ndecimal: '.'\ngroup: ','\nplural: one-other\ndate: '{d} {month} {y}'\nmonths: [a,b,c,d,e,f,g,h,i,j,k,l]\nshort_months: [a,b,c,d,e,f,g,h,i,j,k,l]\nweekdays: [a,b,c,d,e,f,g]")},
		"en/term.yaml":     {Data: []byte("term.sculpt: {plain: the sculpt, of: of the sculpt}\nterm.left: left")},
		"en/uv.yaml": {Data: []byte("uv.a: '{1|island|islands} {1?is|are} {2}, {3.of} {{x}}'\n" +
			"uv.b: '{1|island|islands}'")},
	}
	l, err := read(tree, "en")
	require.NoError(t, err)
	require.Equal(t, "1 island is left, of the sculpt {x}", l.Say("uv.a", Count(1), Term("left"), Term("sculpt")))
	require.Equal(t, "0 islands are b, c {x}", l.Say("uv.a", Count(0), Name("b"), Name("c")))
	require.Equal(t, "2 islands are the sculpt, left {x}", l.Say("uv.a", Count(2), Term("sculpt"), Term("left")), "a term without the form is said plainly")
	require.Equal(t, "3 px islands", l.Say("uv.b", Px(3)))
	require.Equal(t, "? is", strings.ReplaceAll(l.Say("uv.b"), "?", "? is"), "an argument too few is seen and does not stop the program")
	require.Equal(t, []string{"term.left", "term.sculpt", "uv.a", "uv.b"}, l.Codes())

	for text, why := range map[string]string{
		"{1": "not closed", "a } b": "closes nothing", "{x}": "number of an argument", "{0}": "number of an argument",
		"{1|a|b|c}": "3 plural forms", "{1!}": "not understood",
	} {
		tree["en/uv.yaml"] = &fstest.MapFile{Data: []byte("uv.a: '" + text + "'")}
		_, err := read(tree, "en")
		require.ErrorContains(t, err, why, text)
	}
	for text, why := range map[string]string{
		"budget.a: x": "does not begin with", "uv.a: [x]": "is not text", "uv.a: x\nuv.a: y": "already defined",
	} {
		tree["en/uv.yaml"] = &fstest.MapFile{Data: []byte(text)}
		_, err := read(tree, "en")
		require.ErrorContains(t, err, why, text)
	}
}

func TestWhatIsMissingIsSeen(t *testing.T) {
	t.Parallel()
	de, _ := In("de")
	require.Equal(t, "[no.such] 3, x", de.Say("no.such", Count(3), Name("x")))
	require.Equal(t, "[term.no_such]", de.arg(Term("no_such"), ""))
	require.Equal(t, "told", de.Or("no.such", "told"))
	l, ok := In("tlh")
	require.False(t, ok)
	require.Equal(t, "en", l.Tag)
	l, ok = In("de_DE.UTF-8")
	require.True(t, ok)
	require.Equal(t, "de", l.Tag)
	require.Equal(t, "en", Languages()[0].Tag)
}

func TestDates(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 3, 7, 9, 5, 0, 0, time.UTC)
	de, _ := In("de")
	require.Equal(t, "7 March 2026, 09:05", English().Time(at))
	require.Equal(t, "7. März 2026, 09:05", de.Time(at))
}

// TestPhrasesSurviveStorage: canonical JSON and back says the same, for any arguments.
func TestPhrasesSurviveStorage(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.Float64().Draw(t, "v")
		p := P(Literal, List(Num(v), MM(v), MM2(v), Share(v), Px(v), Deg(v), MMExact(v), Count(rapid.Int32().Draw(t, "n")),
			Bytes(rapid.Int64Range(0, 1<<50).Draw(t, "bytes")), Name(rapid.StringMatching(`[a-zäß漢ر {}]*`).Draw(t, "name")), Term("more_than")))
		data, err := canon.Marshal(p)
		require.NoError(t, err)
		var back Phrase
		require.NoError(t, json.Unmarshal(data, &back))
		again, err := canon.Marshal(back)
		require.NoError(t, err)
		require.Equal(t, string(data), string(again))
		for _, l := range Languages() {
			require.Equal(t, l.Sentence(p), l.Sentence(back))
			require.NotContains(t, l.Sentence(p), "?")
		}
	})
}

func BenchmarkSay(b *testing.B) {
	l := English()
	for b.Loop() {
		_ = l.arg(Share(0.123), "")
	}
}
