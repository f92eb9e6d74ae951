// Package words is the message catalogue: what the program says to people, as data that any language can say.
//
// A sentence is a stable code and typed arguments. Its words stand in one YAML file per family and language
// (en/topology.yaml, de/topology.yaml). The evidence keeps both the English text and the code with its arguments, so
// that a finding of years ago can be read in a language that is added tomorrow. The package knows no check, no file and
// no clock, and the same phrase always gives the same bytes.
//
// # Writing a sentence of a check
//
// In Go, one line for each sentence; the code is the check's name and a word of its own:
//
//	f.say("topology.open_edges.loops", words.Count(loops), words.MM(lengthMM), words.Term("side.left"))
//	f.also("topology.open_edges.declared", words.Share(share))       // a further sentence behind it
//	f.remedy("topology.open_edges.close")
//	place.note("topology.open_edges.loop", words.Count(edges))
//	return unable("topology.open_edges.no_mesh")
//	return exempt("topology.open_edges.cards", words.Name(part))
//
// In en/topology.yaml:
//
//	topology.open_edges.loops: "{1|open edge loop|open edge loops}, {2} long together, most on the {3}."
//	topology.open_edges.close: Close the loops, or declare in the spec where the prop is open.
//
// In de/topology.yaml the same codes, with the same arguments in whatever order the language needs:
//
//	topology.open_edges.loops: "{1|offene Kantenschleife|offene Kantenschleifen}, zusammen {2} lang, die meisten {3.at}."
//	topology.open_edges.close: Schließen Sie die Schleifen, oder tragen Sie in der Spezifikation ein, wo das Objekt offen ist.
//
// A place for an argument is {1}; {1|loop|loops} is a count with its noun, {1?is|are} only the form that goes with it;
// {1.dat} is a term in one of the forms that term.yaml gives it. The kinds of arguments are in phrase.go; they know how to write
// their unit and how many digits help, so a template writes no unit and Go writes no number. What is no word (a node's
// name, a file, a key of the spec) is words.Name. Where two sentences differ by more than a word, they are two codes.
//
// The definition of a check (spec.Check) stands in English in Go. Its German goes into de/uv.checks.yaml under codes
// made of the check's name: "uv.present/title", "uv.present/what", "uv.present/why", for each limit "uv.present/limit/max_count",
// and for each kind of set that it does not judge "uv.range/not_for/tiling". A test names what is missing.
//
// # Tests that hold the catalogue
//
// Every language has the same codes with the same arguments; every code that Go names exists, with that many arguments;
// every code is named by Go; plural places take counts.
//
// # A further language
//
// A folder with language.yaml (name, decimal and thousands signs, plural rule, months) and one file for each that the
// folder en has, with all codes; then "go test ./internal/acceptance/words ./internal/acceptance" names what is missing or does not fit.
// No Go changes, unless the language's plural rule is not yet among those in language.go. How much work it is, with the pages', stands in
// internal/web/words/doc.go.
package words
