package main

import (
	"fmt"
	"os"
	"runtime"
	"sort"
	"strings"
	"time"
)

// Limits that the table is held against.
const (
	readLimit  = 50 * time.Millisecond
	pageLimit  = 100 * time.Millisecond
	firstLimit = 150 << 10
	factsLeast = 2000
)

// report writes the table, prints it, and fails where a limit does not hold.
func (r *measurement) report() error {
	var b strings.Builder
	r.conditions(&b)
	r.summary(&b)
	r.tables(&b)
	if r.out != "" {
		if err := os.WriteFile(r.out, []byte(b.String()), 0o644); err != nil {
			return err
		}
	}
	fmt.Print(b.String())
	if faults := r.faults(); len(faults) > 0 {
		return fmt.Errorf("limits that do not hold:\n  %s", strings.Join(faults, "\n  "))
	}
	return nil
}

func (r *measurement) conditions(b *strings.Builder) {
	c := r.Counts
	fmt.Fprintf(b, "# How fast the service answers over a large ledger\n\nMade by `scripts/load` on %s; not written by hand.\n\n", r.Began.Format("2006-01-02 15:04 UTC"))
	fmt.Fprintf(b, "The ledger: %s props in %s work orders of %d vendors and %d studios, %s milestones, %s deliveries, %s findings, %s leaves. Drawn by\n`internal/load/seed` from one seed (%d), by COPY, in %.0f s.\n\n",
		grouped(c.Props), grouped(c.Orders), c.Vendors, c.Studios, grouped(c.Milestones), grouped(c.Deliveries), grouped(int(c.Findings)), grouped(int(c.Facts)), r.manifest.Seed, r.Took)
	fmt.Fprintf(b, "The machine: %d cores (%s), %s. Load, service, PostgreSQL %s and storage share them; load average before: %s. PostgreSQL waits for the disk\n(fsync on); shared_buffers 2 GB, effective_cache_size 8 GB, random_page_cost 1.1, no parallel workers, no JIT.\n\n",
		runtime.NumCPU(), cpuName(), memory(), r.Inner.PostgresVersion, r.Load)
	fmt.Fprintf(b, "The load: [vegeta](https://github.com/tsenart/vegeta) 12.13, as a library, at a constant rate: a question is sent when its time has come, whether or not earlier ones\nare answered, so that waiting counts. Each is of a random route, by a random one of %d members (all roles, the studio and its %d largest vendors), of a random subject.\nThe p99 of fewer than a hundred answers is the slowest of them: reads are asked for %s, pages for %s. Times are those of the asking side, from sending to the last byte.\n\n",
		len(r.Members), vendorsIn(r.Members), r.reads, r.pages)
}

func (r *measurement) summary(b *strings.Builder) {
	b.WriteString("| what | asked | p50 | p95 | p99 | limit |\n|---|---:|---:|---:|---:|---|\n")
	line := func(what string, list []measured, limit string) {
		if len(list) == 0 {
			return
		}
		n, w := 0, worst(list)
		var p50, p95 time.Duration
		for _, m := range list {
			n += m.Requests
			p50, p95 = max(p50, m.P50), max(p95, m.P95)
		}
		fmt.Fprintf(b, "| %s, the slowest route of each column | %s | %s | %s | %s | %s |\n", what, grouped(n), ms(p50), ms(p95), ms(w.P99), limit)
	}
	line(fmt.Sprintf("%d read routes, %d a second", len(r.Reads), r.rate), r.Reads, "p99 under 50 ms each")
	line(fmt.Sprintf("%d pages, %d a second", len(r.Pages), r.pageRate), r.Pages, "p99 under 100 ms each")
	if r.Seal.Requests > 0 {
		line(fmt.Sprintf("sealing, %d a second", r.sealRate), []measured{r.Seal}, "all sealed")
	}
	b.WriteString("\n")
	if len(r.Still) > 0 {
		b.WriteString("A clock of this program that only ticks stood still (with a core free: the whole machine did, by its host; times above have that in them):\n\n")
		for _, s := range r.Still {
			fmt.Fprintf(b, "- %s\n", s)
		}
		b.WriteString("\n")
	}
	if len(r.Exports) > 0 {
		b.WriteString("| taken away whole, once each | MB | first byte ms | all s | the service's peak memory before, MiB | after |\n|---|---:|---:|---:|---:|---:|\n")
		for _, e := range r.Exports {
			fmt.Fprintf(b, "| %s | %.1f | %s | %.2f | %d | %d |\n", e.What, float64(e.Bytes)/1e6, ms(e.First), e.Took.Seconds(), e.BeforeMB, e.PeakMB)
		}
		b.WriteString("\n")
	}
	if len(r.SealCPU) > 0 {
		b.WriteString("| processor time of one seal | ms |\n|---|---:|\n")
		var all time.Duration
		for _, s := range r.SealCPU {
			all += s.Each
			fmt.Fprintf(b, "| %s | %.2f |\n", s.Part, float64(s.Each)/float64(time.Millisecond))
		}
		fmt.Fprintf(b, "| all | %.2f |\n\n", float64(all)/float64(time.Millisecond))
	}
	if len(r.Inner.Facts) > 0 {
		b.WriteString("| the ledger by itself, same database | |\n|---|---:|\n")
		for _, f := range r.Inner.Facts {
			fmt.Fprintf(b, "| facts a second over %d work orders, %d connections, %d a transaction | %s |\n", factOrders, factClients, f.Each, grouped(int(f.PerSecond)))
		}
		fmt.Fprintf(b, "| deliveries a minute, from the manifest to a recorded inspection of 60 findings, 8 at once | %s |\n", grouped(int(r.Inner.PerMinute)))
		fmt.Fprintf(b, "| for scale: pgbench, its default script (TPC-B-like), scale %d, %d clients, prepared, transactions a second | %s |\n\n", r.Inner.PgbenchScale, r.Inner.PgbenchClients, grouped(int(r.Inner.Pgbench)))
	}
}

func (r *measurement) tables(b *strings.Builder) {
	for _, part := range []struct {
		title string
		list  []measured
	}{{"Read routes", r.Reads}, {"Pages", r.Pages}} {
		if len(part.list) == 0 {
			continue
		}
		fmt.Fprintf(b, "## %s\n\n| GET | asked | p50 ms | p95 ms | p99 ms | largest answer kB |\n|---|---:|---:|---:|---:|---:|\n", part.title)
		for _, m := range part.list {
			fmt.Fprintf(b, "| `%s` | %d | %s | %s | %s | %.0f |\n", m.Route, m.Requests, ms(m.P50), ms(m.P95), ms(m.P99), float64(m.Bytes)/1024)
		}
		b.WriteString("\n")
	}
	if len(r.First) > 0 {
		b.WriteString("## First load of each page, without the 3D view\n\n| page | kB, not compressed | files |\n|---|---:|---:|\n")
		for _, f := range r.First {
			fmt.Fprintf(b, "| `%s` | %.0f | %d |\n", f.Route, float64(f.Bytes)/1024, f.Parts)
		}
		b.WriteString("\n")
	}
	b.WriteString("## Not in the mix\n\n")
	var names []string
	for route := range left {
		names = append(names, route)
	}
	sort.Strings(names)
	for _, route := range names {
		fmt.Fprintf(b, "- `%s`: %s\n", route, left[route])
	}
	for _, route := range r.Missing {
		fmt.Fprintf(b, "- not asked, no subject or refused: %s\n", route)
	}
	b.WriteString("\n## Plans that are borne\n\n`scripts/load --plans` lists statements that read a large table whole, sort without bound or throw away most of what they read; these it leaves out:\n\n")
	for _, one := range borne {
		fmt.Fprintf(b, "- %s: %s\n", one.what, one.reason)
	}
}

// faults lists what is over its limit.
func (r *measurement) faults() (out []string) {
	check := func(list []measured, limit time.Duration) {
		for _, m := range list {
			if m.P99 > limit && !r.brief {
				out = append(out, fmt.Sprintf("%s: p99 %s ms over %s", m.Route, ms(m.P99), limit))
			}
			if m.Failed > 0 {
				out = append(out, fmt.Sprintf("%s: %d of %d failed: %s", m.Route, m.Failed, m.Requests, m.Refused))
			}
		}
	}
	check(r.Reads, readLimit)
	check(r.Pages, pageLimit)
	if r.Seal.Failed > 0 {
		out = append(out, fmt.Sprintf("seal: %d of %d failed: %s", r.Seal.Failed, r.Seal.Requests, r.Seal.Refused))
	}
	for _, f := range r.First {
		if f.Bytes > firstLimit {
			out = append(out, fmt.Sprintf("%s: first load of %d kB", f.Route, f.Bytes>>10))
		}
	}
	if n := len(r.Inner.Facts); n > 0 && r.Inner.Facts[n-1].PerSecond < factsLeast && !r.brief {
		out = append(out, fmt.Sprintf("facts: %.0f a second", r.Inner.Facts[n-1].PerSecond))
	}
	return append(out, r.Missing...)
}

func ms(d time.Duration) string { return fmt.Sprintf("%.1f", float64(d)/float64(time.Millisecond)) }

func grouped(n int) string {
	s := fmt.Sprint(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
