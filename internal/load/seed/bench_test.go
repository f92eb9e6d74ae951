package seed

import (
	"math/rand/v2"
	"testing"
	"time"
)

// BenchmarkPlay plays an order of 100 props with a thousand deliveries, without a database.
func BenchmarkPlay(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	found, err := drawResults(rng)
	if err != nil {
		b.Fatal(err)
	}
	specs, err := drawSpecs()
	if err != nil {
		b.Fatal(err)
	}
	now := time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC)
	p := &player{rng: rng, now: now, results: found, specs: specs, figures: figures{checks: map[checkKey]*[2]int64{}, milestones: map[milestoneKey]*milestoneSums{}}}
	vendor := vendors(rng, now, 1)[0]
	studio := party{people: append([]person{{name: "x"}}, staff(rng, now, "x")...)}
	b.ReportAllocs()
	for b.Loop() {
		p.tables = newTables()
		at := now.AddDate(0, -9, 0)
		o := &order{studio: &studio, vendor: &vendor, project: &project{}, id: newID(rng, at), placed: at, props: 100, span: 30 * 24 * time.Hour, rounds: 2.5}
		if err := p.play(o); err != nil {
			b.Fatal(err)
		}
		for _, r := range p.tables.by {
			r.file()
		}
	}
	b.ReportMetric(float64(p.counts.Deliveries)/float64(p.counts.Orders), "deliveries/op")
}
