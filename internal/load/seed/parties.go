package seed

import (
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
)

// person is a member of a party.
type person struct {
	id    uuid.UUID
	name  string
	email string
	roles []string
}

// party is a studio or a vendor with its people. The first of them leads.
type party struct {
	id     uuid.UUID
	name   string
	side   string
	people []person
}

type project struct {
	id          uuid.UUID
	code, title string
	at          time.Time
}

var (
	givenNames  = []string{"Ines", "Ole", "Mara", "Ivo", "Tove", "Jonas", "Lene", "Piet", "Runa", "Sander", "Elin", "Bo"}
	familyNames = []string{"Haddal", "Brack", "Quist", "Fjord", "Molen", "Tangen", "Reede", "Skov", "Vik", "Harms"}
	yardFirst   = []string{"Brackwater", "Kelp", "Tideline", "Saltmark", "Ebb", "Spindrift", "Mudlark", "Longshore", "Cormorant", "Driftwood"}
	yardSecond  = []string{"Props", "Yard", "Works", "Salvage"}
	quays       = []string{"North Quay", "Old Harbour", "Salvage Yard", "Fish Market", "Dry Dock", "Lighthouse", "Customs House", "Rope Walk", "Ferry Landing", "Coal Pier"}
	things      = []string{"bollard", "lantern", "crate", "buoy", "capstan", "ladder", "barrel", "winch", "anchor", "bell", "fender", "net_float", "pulley", "lamp_post", "tarpaulin", "oar"}
)

// newID is an id as the service makes them: it begins with its time (RFC 9562, version 7).
func newID(rng *rand.Rand, at time.Time) uuid.UUID {
	var u uuid.UUID
	ms := uint64(at.UnixMilli())
	for i := range 6 {
		u[i] = byte(ms >> (40 - 8*i))
	}
	a, b := rng.Uint64(), rng.Uint64()
	for i := range 10 {
		if i < 8 {
			u[6+i] = byte(a >> (8 * i))
		} else {
			u[6+i] = byte(b >> (8 * (i - 8)))
		}
	}
	u[6] = u[6]&0x0f | 0x70
	u[8] = u[8]&0x3f | 0x80
	return u
}

func newPerson(rng *rand.Rand, at time.Time, n int, domain string, roles ...string) person {
	name := givenNames[n%len(givenNames)] + " " + familyNames[(n/len(givenNames)+n)%len(familyNames)]
	return person{id: newID(rng, at), name: name, email: fmt.Sprintf("member-%d@%s.example", n, domain), roles: roles}
}

// vendors draws the vendors of the world; each has a lead and two artists.
func vendors(rng *rand.Rand, at time.Time, n int) []party {
	out := make([]party, n)
	for i := range out {
		name := yardFirst[i%len(yardFirst)] + " " + yardSecond[i/len(yardFirst)%len(yardSecond)]
		if round := i / (len(yardFirst) * len(yardSecond)); round > 0 {
			name += fmt.Sprint(" ", round+1)
		}
		domain := fmt.Sprintf("vendor-%d", i+1)
		out[i] = party{id: newID(rng, at), name: name, side: "vendor", people: []person{
			newPerson(rng, at, 100+3*i, domain, "vendor_lead"), newPerson(rng, at, 101+3*i, domain, "vendor_artist"), newPerson(rng, at, 102+3*i, domain, "vendor_artist")}}
	}
	return out
}

// staff is who a studio has beside its first member.
func staff(rng *rand.Rand, at time.Time, domain string) []person {
	return []person{
		newPerson(rng, at, 1, domain, "producer"), newPerson(rng, at, 2, domain, "producer"), newPerson(rng, at, 3, domain, "art_director"),
		newPerson(rng, at, 4, domain, "art_lead"), newPerson(rng, at, 5, domain, "technical_artist"),
	}
}
