package spec

// What a spec that says nothing means. Common practice, no source, except for unit, up, forward and green, which are
// glTF 2.0's (sections 3.4 and 3.9).
func defaultConventions() Conventions {
	return Conventions{
		Unit: "m", Up: "+Y", Forward: "+Z", Green: "up",
		// glTF 2.0, sections 3.9.2 and 3.9.3: occlusion in R, roughness in G, metallic in B.
		Packing:  map[string][]string{"orm": {"occlusion", "roughness", "metallic"}},
		Hug:      "outside",
		Look:     "realistic",
		Mirror:   "none",
		Cage:     "averaged",
		OriginAt: "base_centre",
	}
}

func defaultView(tier int) View {
	return View{
		Placed:      "ground",
		DistanceM:   presetView.distanceM[tier],
		FOVDeg:      presetView.fovDeg[tier],
		ScreenLines: int(presetView.screenLines[tier]),
	}
}

// defaultFiles are the name patterns tried after the spec's own, in this order.
func defaultFiles() []FileRule {
	var out []FileRule
	add := func(role string, node bool, patterns ...string) {
		for _, p := range patterns {
			out = append(out, FileRule{Role: role, Pattern: p, Node: node, Origin: "default"})
		}
	}
	add("game", false, "{prop}.*", "{prop}_game.*", "game.*", "{prop}_{part}_game.*")
	add("game.lod{lod}", false, "{prop}_lod{lod}.*", "{prop}_game_lod{lod}.*", "game_lod{lod}.*", "lod{lod}.*")
	add("sculpt", false, "{prop}_sculpt.*", "sculpt.*", "{prop}_{part}_sculpt.*", "{prop}_sculpt_{part}.*")
	add("cage", false, "{prop}_cage.*", "cage.*")
	add("collision", false, "{prop}_collision.*", "collision.*")
	add("bake_pose", false, "{prop}_bake_pose.*", "bake_pose.*")
	add("map.{map}", false, "{prop}_{map}.*", "map_{map}.*")
	add("map.{map}@{set}", false, "{prop}_{set}_{map}.*", "map_{set}_{map}.*")
	add("reference", false, "reference/*")
	add("source.*", false, "source/*")
	add("game.lod{lod}", true, "*_lod{lod}", "lod{lod}")
	add("cage", true, "*_cage", "cage")
	add("collision", true, "*_collision", "*_collision_{n}", "*_collision{n}", "collision")
	add("sculpt", true, "*_sculpt", "sculpt")
	return out
}

// defaultNeeded are the roles that a delivery must hold unless the spec names files of its own.
var defaultNeeded = []struct {
	role string
	from Milestone
}{{"game", GameMesh}}

// defaultAnnotations are the suffixes that are understood without a table in the spec: what a vendor may say freely.
func defaultAnnotations() []Annotation {
	kinds := []struct {
		suffix string
		kind   PartKind
	}{
		{"_floater", Floater}, {"_sheet", Sheet}, {"_card", Card}, {"_decal", Decal}, {"_glass", Glass}, {"_rope", Rope}, {"_helper", Helper},
	}
	var out []Annotation
	for _, k := range kinds {
		out = append(out, Annotation{Suffix: k.suffix, Who: Free, Keys: Part{Kind: k.kind}})
	}
	return append(out,
		Annotation{Suffix: "_open", Who: Free, Keys: Part{Open: []string{"below", "back"}}},
		Annotation{Suffix: "_nosculpt", Who: Ask, Keys: Part{Sculpt: []string{"none"}}},
	)
}
