package words

import (
	_ "embed"
	"strings"
	"sync"
	"time"
)

//go:embed zones.txt
var zoneList string

// Region is the zones that begin with the same name, such as Europe.
type Region struct {
	Name  string
	Zones []string
}

// Regions are the time zones to choose from, UTC first and by itself.
var Regions = sync.OnceValue(func() []Region {
	var out []Region
	for name := range strings.Lines(zoneList) {
		name = strings.TrimSpace(name)
		if name == "" || strings.HasPrefix(name, "#") {
			continue
		}
		region, _, _ := strings.Cut(name, "/")
		if len(out) == 0 || out[len(out)-1].Name != region {
			out = append(out, Region{Name: region})
		}
		last := &out[len(out)-1]
		last.Zones = append(last.Zones, name)
	}
	return out
})

// Zone is a zone of the IANA time zone database by its name; UTC where there is none.
func Zone(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil || name == "Local" {
		return time.UTC
	}
	return z
}
