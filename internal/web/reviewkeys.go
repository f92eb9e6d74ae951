package web

import "proofhouse/internal/web/words"

// key is a way of looking that one key brings.
type key struct {
	Key, Do string
	Says    words.Phrase
	Off     bool // there is nothing to show
}

// Keys are the ways of looking at this delivery.
func (page reviewOne) Keys() []key {
	before, sculpt := false, false
	for _, r := range page.Revisions {
		before = before || r.Number < page.Delivery.Number
		sculpt = sculpt || r.Number == page.Delivery.Number && r.Sculpt != ""
	}
	return []key{
		{"c", "clay", words.P("review.key_clay"), page.Clay == nil},
		{"o", "outline", words.P("review.key_outline"), page.Outline == nil},
		{"l", "last", words.P("review.key_last"), !before},
		{"g", "changed", words.P("review.key_changed"), !before},
		{"s", "sculpt", words.P("review.key_sculpt"), !sculpt},
		{"t", "turn", words.P("review.key_turn"), len(page.Revisions) == 0},
		{"i", "light", words.P("review.key_light"), len(page.Revisions) == 0},
		{"p", "real", words.P("review.key_real"), page.True == nil},
		{"d", "draw", words.P("review.key_draw"), page.Lit == nil || page.Pending != nil || !page.May.Return},
	}
}

// keyLine is one line of the list of keys: what they do.
type keyLine struct {
	Keys []words.Phrase
	Says words.Phrase
}

func keyed(says words.Phrase, keys ...string) keyLine {
	named := map[string]words.Phrase{"Ctrl+Enter": words.P("review.kbd_send"), " ": words.P("review.kbd_space"), "Arrows": words.P("review.kbd_arrows"), "Enter": words.P("review.kbd_enter"), "Shift+X": words.P("review.kbd_shift_x")}
	line := keyLine{Says: says}
	for _, k := range keys {
		phrase, known := named[k]
		if !known {
			phrase = words.Text(k)
		}
		line.Keys = append(line.Keys, phrase)
	}
	return line
}

// KeyList is every key of the screen with one delivery.
func (page reviewOne) KeyList() []keyLine {
	list := []keyLine{
		keyed(words.P("review.does_accept"), "A"), keyed(words.P("review.does_choose"), "N", "R", "E"), keyed(words.P("review.does_hold"), "H"),
		keyed(words.P("review.does_send"), "Ctrl+Enter"), keyed(words.P("review.does_leave"), "Esc"), keyed(words.P("review.does_undo"), "U"), keyed(words.P("review.does_next"), " "), keyed(words.P("review.does_previous"), "B"),
	}
	for _, k := range page.Keys() {
		list = append(list, keyed(k.Says, string(k.Key[0]-'a'+'A')))
	}
	return append(list, keyed(words.P("review.does_wipe"), "Z"), keyed(words.P("review.does_list"), "?"))
}

// KeyList is every key of the contact sheet.
func (page reviewPage) KeyList() []keyLine {
	return []keyLine{
		keyed(words.P("review.does_move"), "Arrows"), keyed(words.P("review.does_open"), "Enter"), keyed(words.P("review.does_pick"), "X"), keyed(words.P("review.does_pick_all"), "Shift+X"),
		keyed(words.P("review.does_choose_many"), "A", "R", "E"), keyed(words.P("review.does_decide_many"), "Ctrl+Enter"), keyed(words.P("review.does_list"), "?"),
	}
}
