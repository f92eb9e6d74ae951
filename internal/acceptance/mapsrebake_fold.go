package acceptance

import (
	"slices"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/words"
)

// foldBakes makes one headline of one mistake: where normal maps of several roles or sets fit in the same other reading, the
// first stands for all, and what the map checks found wrong with the same texels follows from it.
func foldBakes(findings []Finding) {
	for i := range findings {
		head := &findings[i]
		if !misread(head) || head.FollowsFrom != "" {
			continue
		}
		followers := 0
		for j := range findings {
			f := &findings[j]
			if j == i || f.FollowsFrom != "" || f.Outcome != Fail && f.Outcome != Warn {
				continue
			}
			again := misread(f) && f.Labels["best_fit"] == head.Labels["best_fit"]
			if again || f.Check == "maps.normal_valid" && f.Set == head.Set && slices.Contains(unsoundReadings, head.Labels["best_fit"]) {
				f.FollowsFrom = head.Check
				followers++
			}
		}
		if followers > 0 {
			head.also("bake.map.follows", words.Count(followers))
		}
	}
}

// misread says whether a finding is of a normal map that fits in another reading, or is no normal map at all.
func misread(f *Finding) bool {
	if f.Check != bakedDef.Name && f.Check != rebakeDef.Name || f.Outcome != Fail && f.Outcome != Warn {
		return false
	}
	fit := f.Labels["best_fit"]
	return fit != "" && fit != string(bake.AsDelivered) && fit != "unrelated"
}

// unsoundReadings are the mistakes that leave vectors which are none: of wrong length, or facing into the surface.
var unsoundReadings = []string{string(bake.SRGBEncoded), string(bake.SRGBDecoded), string(bake.RedBlueSwapped), string(bake.ObjectSpace), "grey", "flat"}
