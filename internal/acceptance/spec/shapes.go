package spec

// Largest sizes that a spec may name. They catch a slip of unit and are otherwise free choices.
const (
	maxSizeMM   = 1e6   // a kilometre
	maxPixels   = 65536 // edge of a map
	maxMeasured = 1e12  // any other number
)

// documentShape is the shape of a whole spec. The checks are the catalogue's.
func documentShape(c Catalogue) *shape {
	checks := checksShape(c)
	return object("The contract of one prop, or of a kit or project that other specs extend.",
		may("spec", word("The version of this format.", "proofhouse/spec/1")),
		may("prop", code("Code of the prop, as it stands in file names.")),
		may("title", text("Name of the prop for people.")),
		may("tier", word("How close the camera comes: picks the preset of every limit.", Tiers[:]...)),
		may("extends", list("Specs that this one starts from; a later one wins over an earlier one, this one over all.", refShape())),
		may("size_mm", exactly(3, "Contracted bounding box x, y, z in millimetres.", above("", 0, maxSizeMM))),
		may("conventions", conventionsShape()),
		may("view", viewShape()),
		may("parts", list("Parts of the prop; a node belongs to the first whose pattern matches.", partShape(checks))),
		may("sets", list("Texture sets; a material belongs to the first whose pattern matches.", setShape(checks))),
		may("files", list("What a delivery holds, and how roles are told from names. The first pattern that matches wins.", fileShape())),
		may("annotations", list("What a vendor may say of a node by the end of its name.", annotationShape())),
		may("checks", checks),
	)
}

func refShape() *shape {
	return object("One spec, pinned.",
		must("spec", text("Code of the spec in the ledger, or a file beside this one.")),
		may("revision", integer("Its revision in the ledger.", 1, 1e9)),
		may("digest", &shape{form: formText, what: "SHA-256 of its bytes.", expr: `(?:sha256:)?[0-9a-f]{64}`,
			exprWhat: "a SHA-256 in 64 lower-case hex digits"}),
	)
}

func conventionsShape() *shape {
	axis := []string{"+X", "-X", "+Y", "-Y", "+Z", "-Z"}
	return object("What the studio's pipeline assumes.",
		may("unit", word("Unit of the delivered files. glTF says metres.", "m", "dm", "cm", "mm", "in", "ft")),
		may("up", word("Axis that points up.", axis...)),
		may("forward", word("Axis along which the prop's front looks.", axis...)),
		may("green", word("Green of shipped normal maps: up is glTF's.", "up", "down")),
		may("packing", table("What the channels of a packed map mean, in the order R, G, B, A.",
			&shape{form: formList, item: text("Meaning of one channel."), least: 1, most: 4})),
		may("hug", word("Whether the game surface is kept just outside the sculpt or centred on it.", "outside", "centred")),
		may("look", word("Stylised props are not held to plausible colours.", "realistic", "stylised")),
		may("mirror", word("Plane that the prop was built by mirroring over.", "none", "x", "y", "z")),
		may("weld_mm", number("How far apart two vertices may be to count as one place; 0 welds exact copies only.", 0, 10)),
		may("cage", word("Where projection starts: a delivered mesh, averaged normals, or each face's own.", "averaged", "mesh", "hard")),
		may("reach_mm", reachShape()),
		may("origin_at", word("Where the origin belongs.", "base_centre", "centre", "point")),
		may("origin_mm", exactly(3, "The point for origin_at: point, in the prop's own space.", number("", -maxSizeMM, maxSizeMM))),
	)
}

func reachShape() *shape {
	one := above("The same both ways, in millimetres.", 0, 1e5)
	return either("How far projection looks along the cage's direction, in millimetres.", one,
		object("Both ways apart.", must("front", above("Outward.", 0, 1e5)), must("back", above("Inward.", 0, 1e5))))
}

func viewShape() *shape {
	return object("Where the camera may be.",
		may("placed", word("What the prop stands or hangs on.", "ground", "wall", "ceiling", "hand", "free")),
		may("distance_m", above("Distance of the closest camera in metres.", 0, 1e5)),
		may("fov_deg", number("Vertical field of view in degrees.", 1, 170)),
		may("screen_lines", integer("Lines of the screen.", 16, 65536)),
	)
}

// partKeys are the keys that a part and an annotation share.
func partKeys() []field {
	open := either("One place.", word("A side by name.", "below", "back", "ends"),
		object("A plane.",
			must("plane", exactly(4, "Normal x, y, z and offset in millimetres.", number("", -maxSizeMM, maxSizeMM))),
			may("tol_mm", number("Tolerance in millimetres; 1 unless said.", 0, 1e4))))
	return []field{
		may("kind", word("What it is; the checks read this.", Solid, Sheet, Card, Floater, Decal, Glass, Moving, Interior, Rope, Helper, Collision, CagePart)),
		may("open", list("Places whose open edges are meant.", open)),
		may("two_sided", word("How both sides are made to show.", "no", "material", "geometry")),
		may("sculpt", either("Sculpt nodes that belong to it.", word("No sculpt, or one that several parts share.", "none", "shared"),
			list("Patterns over sculpt nodes.", namePattern("Pattern over sculpt node names.")))),
		may("reach_mm", reachShape()),
		may("density", number("Factor on the target texel density; 0 leaves the part out.", 0, 100)),
		may("may_cross", list("Parts that it may run into; any for all.", text("Name of a part, or any."))),
		may("mirror", word("Plane that it was built by mirroring over.", "none", "x", "y", "z")),
		may("pivot", word("What a moving part turns on.", "none", "hinge", "slide")),
		may("poses", list("Poses it is looked at in.", code("Name of a pose."))),
	}
}

func partShape(checks *shape) *shape {
	fields := []field{
		must("name", code("Name of the part.")),
		may("match", list("Patterns over node and material names.", namePattern("Name pattern."))),
	}
	fields = append(fields, partKeys()...)
	return object("One part.", append(fields, may("checks", checks))...)
}

func setShape(checks *shape) *shape {
	return object("One texture set.",
		must("name", code("Name of the set.")),
		may("match", list("Patterns over material names.", namePattern("Name pattern."))),
		may("kind", word("What it is; the checks read this.", Baked, Tiling, Trim, DecalAtlas, Shared, UDIM)),
		may("author_px", integer("Edge of the maps as painted.", 1, maxPixels)),
		may("ship_px", integer("Edge of the maps as shipped: what density and padding are measured at.", 1, maxPixels)),
		may("reference_map", code("Map whose size counts for density.")),
		may("green", word("Green of its normal map.", "up", "down")),
		may("channels", table("What the channels of a packed map mean.",
			&shape{form: formList, item: text("Meaning of one channel."), least: 1, most: 4})),
		may("stack", word("Whether islands may lie on each other; any leaves it to the limit of uv.overlap.", "any", "none", "mirrored", "copies")),
		may("alpha", word("How transparency is used.", "none", "mask", "blend")),
		may("tiles", list("UDIM tiles, 1001 onwards.", either("One tile.", integer("Its number.", 1001, 1999),
			object("One tile of a size of its own.", must("tile", integer("Its number.", 1001, 1999)),
				must("ship_px", integer("Edge of its maps as shipped.", 1, maxPixels)))))),
		may("checks", checks),
	)
}

func fileShape() *shape {
	return object("One role.",
		must("role", &shape{form: formText, what: "The role; {lod}, {map} and {set} are filled in from the name.", maxLen: 80,
			expr: `[a-z][a-z_]*(?:\.[a-z0-9_{}*]+)*(?:@[A-Za-z0-9._{}-]+)?`, exprWhat: "a role such as game, game.lod{lod}, map.normal or map.{map}@{set}"}),
		may("pattern", either("Name patterns; a file matches by its path or its own name.", namePattern("Name pattern."),
			list("Several.", namePattern("Name pattern.")))),
		may("node", flag("Whether the pattern is over node names inside a file.")),
		may("needed", flag("Whether a delivery must hold it.")),
		may("from", word("Milestone from which it is needed.", Milestones[:]...)),
	)
}

func annotationShape() *shape {
	fields := []field{
		must("suffix", &shape{form: formText, what: "End of the node's name.", maxLen: 40, expr: `[._-][A-Za-z0-9._-]+`,
			exprWhat: "a suffix that begins with '_', '-' or '.'"}),
		may("who", word("Who may say so.", Free, Ask, SpecOnly)),
		may("confirmed", list("Nodes for which the studio said yes.", namePattern("Name pattern."))),
	}
	return object("One suffix.", append(fields, partKeys()...)...)
}

// checksShape is the shape of checks: one key for each check of the catalogue.
func checksShape(c Catalogue) *shape {
	var fields []field
	for _, check := range c {
		s := object(check.What,
			may("mode", word("What breaking it leads to.", Blocks, Warns, Reports, NotAppl)),
			may("reason", text("Why the check does not apply; needed with not_applicable.")),
			may("from", either("Milestones at which it counts.", word("That one and all after it.", Milestones[:]...),
				list("Exactly these.", word("", Milestones[:]...)))),
		)
		s.reasonIfNotes = true
		for _, l := range check.Limits {
			s.fields = append(s.fields, may(l.Key, limitShape(l)))
		}
		fields = append(fields, may(check.Name, s))
	}
	all := object("What each check demands.", fields...)
	all.def = "checks"
	return all
}

func limitShape(l Limit) *shape {
	if l.List {
		switch {
		case l.Kind != Option:
			return list(l.What, numberFor(l, ""))
		case len(l.Words) > 0:
			return list(l.What, word("", l.Words...))
		case l.Pattern:
			return list(l.What, namePattern(""))
		}
		return list(l.What, text(""))
	}
	if l.Kind == Option {
		if len(l.Words) == 0 {
			return text(l.What)
		}
		return word(l.What, l.Words...)
	}
	return either(l.What, numberFor(l, l.What), word("Turns the limit off.", "off"))
}

func numberFor(l Limit, what string) *shape {
	high := maxMeasured
	if l.Unit == "share" {
		high = 1
	}
	low := 0.0
	if l.List && l.Unit == "mm" {
		low = -maxSizeMM // a place
	}
	return number(what, low, high)
}
