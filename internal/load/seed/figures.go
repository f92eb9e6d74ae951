package seed

import (
	"bytes"
	"cmp"
	"maps"
	"slices"
	"time"

	"github.com/google/uuid"
)

type checkKey struct {
	studio, vendor, project uuid.UUID // zero: every one
	tier, check             string
	month                   time.Time
	shard                   int
}

type milestoneKey struct {
	studio, vendor, project uuid.UUID
	tier                    string
	month                   time.Time
}

type milestoneSums struct {
	accepted, firstPass, rounds, reworkVendor, reworkStudio, withDue, onTime, vendor, studio, test int64
}

// figures add up what the service adds up in the transactions that it records in.
type figures struct {
	checks     map[checkKey]*[2]int64 // judged, failed
	milestones map[milestoneKey]*milestoneSums
	turn       int
}

const checkShards = 4

func monthOf(t time.Time) time.Time { return time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, time.UTC) }

func (f *figures) inspected(o *order, c *piece, r *result, at time.Time) {
	f.turn++
	month := monthOf(at)
	for _, of := range [][2]uuid.UUID{{}, {o.vendor.id}, {{}, o.project.id}, {o.vendor.id, o.project.id}} {
		shard := 0
		if of == [2]uuid.UUID{} { // the rest has no shards
			shard = f.turn % checkShards
		}
		for _, l := range r.lines {
			if l.Outcome == "not_evaluated" {
				continue
			}
			key := checkKey{o.studio.id, of[0], of[1], c.tier, l.Check, month, shard}
			n := f.checks[key]
			if n == nil {
				n = new([2]int64)
				f.checks[key] = n
			}
			n[0]++
			if l.Blocks && l.Outcome == "fail" {
				n[1]++
			}
		}
	}
}

func (f *figures) accepted(o *order, c *piece, m *milestone, at, sealed time.Time) {
	key := milestoneKey{o.studio.id, o.vendor.id, o.project.id, c.tier, monthOf(at)}
	s := f.milestones[key]
	if s == nil {
		s = &milestoneSums{}
		f.milestones[key] = s
	}
	s.accepted++
	s.rounds += int64(m.rounds)
	s.reworkVendor += int64(m.reworkVendor)
	s.reworkStudio += int64(m.reworkStudio)
	s.vendor, s.studio, s.test = s.vendor+m.vendor, s.studio+m.studio, s.test+m.test
	s.withDue++
	if m.rounds == 1 {
		s.firstPass++
	}
	if !sealed.Truncate(24 * time.Hour).After(m.due) {
		s.onTime++
	}
}

const (
	checkColumns     = "studio_id, vendor_id, project_id, tier, month, chk, shard, judged, failed"
	milestoneColumns = "studio_id, vendor_id, project_id, tier, month, accepted, first_pass, rounds, rework_vendor, rework_studio, with_due, on_time, vendor_secs, studio_secs, inspector_secs"
)

func (f *figures) rows() (checks, milestones rows) {
	keys := slices.SortedFunc(maps.Keys(f.checks), func(a, b checkKey) int { // as they come to be: month by month, those of one question together
		return cmp.Or(a.month.Compare(b.month), bytes.Compare(a.vendor[:], b.vendor[:]), bytes.Compare(a.project[:], b.project[:]), cmp.Compare(a.tier, b.tier), cmp.Compare(a.check, b.check), cmp.Compare(a.shard, b.shard),
			bytes.Compare(a.studio[:], b.studio[:]))
	})
	for _, k := range keys {
		n := f.checks[k]
		checks.begin(9).id(k.studio).idOr(k.vendor).idOr(k.project).text(k.tier).date(k.month).text(k.check).i2(k.shard).i8(n[0]).i8(n[1]).done(k.month)
	}
	for k, s := range f.milestones {
		milestones.begin(15).id(k.studio).id(k.vendor).id(k.project).text(k.tier).date(k.month).i8(s.accepted).i8(s.firstPass).i8(s.rounds).i8(s.reworkVendor).i8(s.reworkStudio).
			i8(s.withDue).i8(s.onTime).i8(s.vendor).i8(s.studio).i8(s.test).done(k.month)
	}
	return checks, milestones
}
