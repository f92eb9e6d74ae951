// Package words is what the pages say, in every language that they speak: one YAML file for each page and language beside
// the message catalogue of the findings (internal/acceptance/words), by the same templates, plural rules and signs.
//
// # Writing a page
//
// A page's words stand in en/<page>.yaml and de/<page>.yaml. Each code begins with the page's name:
//
//	work.title: Work
//	work.waiting: "{1|prop waits|props wait} for you."
//	work.empty: "Nothing waits for you. {1} lists everything that is ordered."
//	work.empty_link: The orders
//
// In a template, say gives a sentence; a whole number becomes a count, a string a name:
//
//	<h1>{{say "work.title"}}</h1>
//	<p>{{say "work.waiting" (len .Props)}}</p>
//	<p>{{say "work.empty" (link "/orders" (say "work.empty_link"))}}</p>
//	<input placeholder="{{say "work.search"}}">
//
// Places in a sentence: {1} {2}; {1|prop|props} is a count with its noun; {1?waits|wait} only the form that goes with the
// count; {1.dat} a term in a form that term.yaml gives it. What may stand there besides plain values: (link "/address" text),
// (strong x), (code x), (day .Due), (moment .At), (term "state" .State), and numbers with units by (unit 3.2 "mm"), (money .Minor .Currency),
// (bytes .Size), (share .Share), (percent .BP). Everything is escaped; only what these make is HTML.
// No sentence is glued together from pieces: other languages order them differently.
//
// Words for values of the record are terms, in term.yaml, by kind and value: {{term "state" .State}} says
// term.state.review. The older names {{milestone .}}, {{state .}}, {{desk .}}, {{role .}} … are the same in short.
//
// A handler in Go makes phrases and leaves saying them to the template, so that it needs to know no reader:
//
//	frame{Title: words.P("work.title")}                         // package proofhouse/internal/web/words
//	page.Done = words.P("account.done_password")                // in the template: {{with .Done.Code}}{{say $.Done}}{{end}}
//	return &ledger.Invalid{Field: "title", Why: "is missing"}   // refusals are translated where they are shown
//
// Where Go needs text (the data of a script): p.reader(c).Text(words.P("view.hint", 3)). A title that is data, such as a prop's
// name, is words.Text(name).
//
// # Times, numbers, money
//
// {{day .Due}} is a day of the calendar, the same everywhere; {{moment .At}} a point in time in the reader's zone with the
// exact time in its title; {{dayof .At}} only its day. All are <time> elements. Numbers go through number, unit, count or say; never
// through printf. The reader's language is the member's setting, else what the browser asks for (Accept-Language),
// else English; the zone is the member's setting, else that of their party's calendar, else UTC.
//
// # Tests that hold it
//
// Both languages have the same codes with the same arguments; each code that a template or Go says exists and is given as many
// arguments as it takes; each code is said somewhere; no template has a letter of its own between its elements or in
// an attribute that people read (title, alt, placeholder, aria-label, data-label). Numbers and dates are compared with Intl.
//
// # A further language
//
// What German took: here 52 files, 2,510 sentences, 13,900 words; for the findings, by internal/acceptance/words/doc.go, 31 files, 1,700 sentences,
// 19,200 words. A translator of technical texts does some 2,500 words a day (common practice, no source), so a third language is about thirteen days
// for somebody who knows the trade. The folder of the language's tag appears, with every file that the folder de has; term.yaml is done first, since
// its words stand in all others. No Go, template, table or script changes: the choice of languages, the matching of Accept-Language, the member's
// setting and the tests go by the folders that are there. The tests name every code that is missing, takes other arguments or has a plural where
// there can be none; scripts/gallery shows the pages once the tag stands in its list of languages.
package words
