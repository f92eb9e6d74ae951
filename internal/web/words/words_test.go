package words

import (
	"fmt"
	"html/template"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"

	"proofhouse/internal/acceptance/words"
)

func reader(t *testing.T, tag, zone string) Reader {
	t.Helper()
	z, err := time.LoadLocation(zone)
	require.NoError(t, err)
	return Reader{In(tag), z}
}

func TestNumbersAndUnits(t *testing.T) {
	t.Parallel()
	en, de := reader(t, "en", "UTC"), reader(t, "de", "UTC")
	for _, row := range []struct{ got, want string }{
		{en.Money(118_050, "EUR"), "EUR\u00a01,180.50"},
		{de.Money(118_050, "EUR"), "1.180,50\u00a0EUR"},
		{en.Money(1000, "JPY"), "JPY\u00a01,000"}, // no minor unit: ISO 4217
		{de.Money(1234, "KWD"), "1,234\u00a0KWD"}, // a thousandth
		{en.Money(5, "EUR"), "EUR\u00a00.05"},
		{en.Money(-118_050, "EUR"), "-EUR\u00a01,180.50"},
		{de.Money(-9223372036854775808, "EUR"), "-92.233.720.368.547.758,08\u00a0EUR"},
		{en.Money(100, "no currency"), "no currency\u00a01.00"},
		{en.Unit(0, "share"), "0\u00a0%"},
		{de.Unit(0.125, "share"), "12,5\u00a0%"},
		{en.Unit(51.04, "deg"), "51.0°"},
		{en.Unit(13056, "count"), "13,056"},
		{de.Unit(13056, "count"), "13.056"},
		{de.Unit(5.22, "mm"), "5,22\u00a0mm"},
		{en.Unit(0.0522, "mm"), "0.052\u00a0mm"},
		{en.Unit(4_194_304, "bytes"), "4.20\u00a0MB"},
		{de.Bytes(877_001), "877\u00a0kB"},
		{en.Bytes(12), "12\u00a0B"},
		{de.Percent(1250), "12,5\u00a0%"},
		{en.Number(-1234), "-1234"},
		{de.Number(0.00004), "0,00004"},
	} {
		require.Equal(t, row.want, row.got)
	}
}

func TestTimes(t *testing.T) {
	t.Parallel()
	en, de := reader(t, "en", "UTC"), reader(t, "de", "Europe/Berlin")
	at := time.Date(2026, 11, 27, 23, 17, 5, 0, time.UTC)
	require.Equal(t, template.HTML(`<time datetime="2026-11-27T23:17:05Z" title="Friday, 27 November 2026, 23:17:05 UTC">27`+"\u00a0Nov\u00a0"+`2026, 23:17</time>`), en.Moment(at))
	require.Equal(t, template.HTML(`<time datetime="2026-11-27T23:17:05Z" title="Samstag, 28. November 2026, 00:17:05 UTC+01:00 (Europe/Berlin); 27. November 2026, 23:17:05 UTC">28.`+"\u00a0Nov.\u00a0"+`2026, 00:17</time>`), de.Moment(&at))
	day := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	require.Equal(t, template.HTML(`<time datetime="2026-03-01" title="Sonntag, 1. März 2026">1.`+"\u00a0März\u00a0"+`2026</time>`), de.Day(day), "a day of the calendar is the same everywhere")
	require.Contains(t, de.DayOf(at), "28.\u00a0Nov.\u00a02026<")
	for _, none := range []any{nil, time.Time{}, (*time.Time)(nil), "x"} {
		require.EqualValues(t, "–", en.Day(none))
		require.EqualValues(t, "–", en.Moment(none))
	}
}

func TestSay(t *testing.T) {
	t.Parallel()
	r := reader(t, "de", "UTC")
	said, err := r.Say("frame.zone", Link("/account", "<b>Europe/Berlin"))
	require.NoError(t, err)
	require.Equal(t, template.HTML(`Zeiten gelten für die Zone <a href="/account">&lt;b&gt;Europe/Berlin</a>.`), said)
	said, err = r.Say("frame.zone", "<script>")
	require.NoError(t, err)
	require.Equal(t, "Zeiten gelten für die Zone <script>.", said, "plain text, which the template escapes")
	said, err = r.Say(P("frame.zone", "UTC"))
	require.NoError(t, err)
	require.Equal(t, "Zeiten gelten für die Zone UTC.", said)
	_, err = r.Say("frame.no_such_words")
	require.Error(t, err)
	_, err = r.Say(P("frame.zone", "UTC"), 1)
	require.Error(t, err)
	_, err = r.Say(3)
	require.Error(t, err)
	require.Equal(t, "<em>", r.Text(Text("<em>")))
	require.Equal(t, "wartet auf Durchsicht", r.Term("state.review"))
	require.Equal(t, "of_tomorrow", r.Term("state.of_tomorrow"))
	require.Equal(t, "wartet auf Durchsicht", r.Speak("state.review").String())
	require.Equal(t, words.Term("state.review"), P("frame.zone", r.Speak("state.review")).Args[0])
	require.Equal(t, []words.Arg{words.Count(2), words.Num(1.5), words.Name("x"), words.Said("frame.skip"), words.Name("true")}, P("frame.zone", 2, 1.5, "x", P("frame.skip"), true).Args)
}

func TestLinksLeadNowhereElse(t *testing.T) {
	t.Parallel()
	for to, want := range map[string]template.HTML{
		"/a?b=1&c=%22": `<a href="/a?b=1&amp;c=%22">x</a>`, "#top": `<a href="#top">x</a>`, "https://a.example/": `<a href="https://a.example/">x</a>`,
		"javascript:alert(1)": "x", "//a.example": "x", `/"><script>`: `<a href="/&#34;&gt;&lt;script&gt;">x</a>`, "data:x": "x", "": "x",
	} {
		require.Equal(t, want, Link(to, "x"), to)
	}
	require.EqualValues(t, "<strong>&lt;i&gt;</strong>", Tagged("strong")("<i>"))
	require.EqualValues(t, "<strong><i></strong>", Tagged("strong")(template.HTML("<i>")))
}

// What browsers send, from RFC 9110 and from what is seen in the field (common practice, no source).
func TestAsked(t *testing.T) {
	t.Parallel()
	for accept, want := range map[string]string{
		"": "en", "de": "de", "de-AT,de;q=0.9,en;q=0.8": "de", "en-GB,en;q=0.9,de;q=0.8": "en", "fr": "en", "fr,de;q=0.5": "de", "*": "en",
		"da, en-gb;q=0.8, en;q=0.7": "en", "gsw": "de", "!!": "en", "de;q=0, en": "en",
	} {
		require.Equal(t, want, Asked(accept).Tag, accept)
	}
}

// Every zone to choose from is one of the database that the program carries.
func TestZones(t *testing.T) {
	t.Parallel()
	n := 0
	for _, region := range Regions() {
		for _, name := range region.Zones {
			n++
			_, err := time.LoadLocation(name)
			require.NoError(t, err)
			require.Equal(t, name, Zone(name).String())
		}
	}
	require.Greater(t, n, 300)
	require.Equal(t, Region{"UTC", []string{"UTC"}}, Regions()[0])
	for _, none := range []string{"", "Local", "Nowhere/Land", "../etc"} {
		require.Equal(t, time.UTC, Zone(none))
	}
}

// TestWhatALanguageCosts holds the figures of the documentation to what German has today, within a tenth.
func TestWhatALanguageCosts(t *testing.T) {
	t.Parallel()
	doc, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	said := regexp.MustCompile(`(?s)([0-9,]+) files, ([0-9,]+) sentences,[\s/]+([0-9,]+) words`).FindAllStringSubmatch(string(doc), -1)
	require.Len(t, said, 2)
	for i, folder := range []string{"de", "../../acceptance/words/de"} {
		names, err := filepath.Glob(filepath.Join(folder, "*.yaml"))
		require.NoError(t, err)
		var sentences, count int
		for _, name := range names {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			entries := map[string]any{}
			require.NoError(t, yaml.Unmarshal(data, &entries), name)
			sentences += len(entries)
			for _, text := range entries {
				count += len(strings.Fields(fmt.Sprint(text)))
			}
		}
		for at, is := range []int{len(names), sentences, count} {
			n, err := strconv.Atoi(strings.ReplaceAll(said[i][at+1], ",", ""))
			require.NoError(t, err)
			require.InEpsilon(t, is, n, 0.1, "%s: %s", folder, said[i][0])
		}
	}
}
