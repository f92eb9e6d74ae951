// Command plot draws how time grows with the number of triangles, on logarithmic axes, from the lines that run.sh keeps.
//
//	plot LINES.jsonl... > growth.svg
package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
)

// series is one kind of work. Colours are Okabe and Ito's, told apart by the colour-blind; the marks differ too.
type series struct {
	work, label, colour, mark string
	points                    []point
}

type point struct{ tris, cpu float64 }

// drawn are the works that are shown. scales says that a work is linear in the triangles, so that n log n is drawn beside it.
var drawn = []series{
	{work: "inspect", label: "whole inspection, pictures included", colour: "#000000", mark: "square"},
	{work: "build", label: "building the tree", colour: "#d55e00", mark: "circle"},
	{work: "nearest_high_to_low", label: "every sculpt vertex to the game mesh", colour: "#0072b2", mark: "triangle"},
	{work: "nearest_low_to_high", label: "a million game points to the sculpt", colour: "#009e73", mark: "diamond"},
	{work: "rays", label: "a million rays", colour: "#cc79a7", mark: "cross"},
}

func main() {
	if len(os.Args) < 2 {
		fmt.Fprintln(os.Stderr, "usage: plot LINES.jsonl... > growth.svg")
		os.Exit(2)
	}
	for _, path := range os.Args[1:] {
		if err := read(path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	out := bufio.NewWriter(os.Stdout)
	defer out.Flush()
	draw(out)
}

// read adds the lines of a file to the series: of several lines for one size the least processor time, which other programs
// disturb least.
func read(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		var l struct {
			Peer, Work string
			Tris, CPU  float64
		}
		if err := json.Unmarshal(lines.Bytes(), &l); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		if l.Peer != "ours" || !(l.CPU > 0) {
			continue
		}
		for i := range drawn {
			if drawn[i].work == l.Work {
				drawn[i].add(point{l.Tris, l.CPU})
			}
		}
	}
	return lines.Err()
}

func (s *series) add(p point) {
	i := slices.IndexFunc(s.points, func(q point) bool { return q.tris >= p.tris })
	switch {
	case i < 0:
		s.points = append(s.points, p)
	case s.points[i].tris == p.tris:
		s.points[i].cpu = min(s.points[i].cpu, p.cpu)
	default:
		s.points = slices.Insert(s.points, i, p)
	}
}

// The drawing, in pixels, and what its axes hold.
const (
	width, height           = 900, 560
	left, right, top, under = 78, 300, 64, 64
	fewest, most            = 2e5, 2.2e7 // triangles
	shortest, longest       = 0.02, 40   // seconds
)

func x(tris float64) float64 {
	return left + (width-left-right)*math.Log(tris/fewest)/math.Log(most/fewest)
}

func y(seconds float64) float64 {
	return height - under - (height-top-under)*math.Log(seconds/shortest)/math.Log(longest/shortest)
}

func draw(out *bufio.Writer) {
	fmt.Fprintf(out, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" font-family="system-ui, sans-serif" font-size="14" fill="#222">`+"\n", width, height, width, height)
	fmt.Fprintf(out, `<rect width="%d" height="%d" fill="#fff"/>`+"\n", width, height)
	fmt.Fprintf(out, `<text x="%d" y="26" font-size="18" font-weight="600">Processor seconds of both cores, by triangles of the sculpt</text>`+"\n", left-50)
	fmt.Fprintf(out, `<text x="%d" y="48" fill="#555">game mesh of 12,000 triangles; dashed: n log n from the largest sculpt down</text>`+"\n", left-50)
	axes(out)
	var ends []float64
	for i := range drawn {
		s := &drawn[i]
		if len(s.points) == 0 {
			continue
		}
		if s.work == "build" || s.work == "inspect" {
			reference(out, s)
		}
		curve(out, s)
		last := s.points[len(s.points)-1]
		at := y(last.cpu)
		for slices.ContainsFunc(ends, func(e float64) bool { return math.Abs(e-at) < 38 }) {
			at += 4
		}
		ends = append(ends, at)
		fmt.Fprintf(out, `<text x="%.1f" y="%.1f" fill="%s">%s</text>`+"\n", x(most)+12, at, s.colour, s.label)
		fmt.Fprintf(out, `<text x="%.1f" y="%.1f" fill="#555" font-size="13">%s s at %s, grows as n^%.2f</text>`+"\n", x(most)+12, at+16, seconds(last.cpu), count(last.tris), s.exponent())
	}
	fmt.Fprintln(out, `</svg>`)
}

func axes(out *bufio.Writer) {
	for _, t := range []float64{2.5e5, 5e5, 1e6, 2e6, 4e6, 8e6, 1.6e7} {
		fmt.Fprintf(out, `<line x1="%.1f" x2="%.1f" y1="%d" y2="%d" stroke="#e4e4e4"/><text x="%.1f" y="%d" text-anchor="middle">%s</text>`+"\n", x(t), x(t), top, height-under, x(t), height-under+22, count(t))
	}
	for _, s := range []float64{0.03, 0.1, 0.3, 1, 3, 10, 30} {
		fmt.Fprintf(out, `<line x1="%d" x2="%d" y1="%.1f" y2="%.1f" stroke="#e4e4e4"/><text x="%d" y="%.1f" text-anchor="end">%s s</text>`+"\n", left, width-right, y(s), y(s), left-8, y(s)+5, seconds(s))
	}
	fmt.Fprintf(out, `<rect x="%d" y="%d" width="%d" height="%d" fill="none" stroke="#888"/>`+"\n", left, top, width-left-right, height-top-under)
	fmt.Fprintf(out, `<text x="%d" y="%d" text-anchor="middle">triangles</text>`+"\n", (left+width-right)/2, height-16)
}

// reference is n log n through the series' last point.
func reference(out *bufio.Writer, s *series) {
	last := s.points[len(s.points)-1]
	scale := last.cpu / (last.tris * math.Log(last.tris))
	var path []string
	for t := s.points[0].tris; t < last.tris*1.01; t *= 1.25 {
		if c := scale * t * math.Log(t); c >= shortest {
			path = append(path, fmt.Sprintf("%.1f,%.1f", x(t), y(c)))
		}
	}
	fmt.Fprintf(out, `<polyline points="%s" fill="none" stroke="%s" stroke-dasharray="5 5" stroke-opacity="0.55"/>`+"\n", strings.Join(path, " "), s.colour)
}

func curve(out *bufio.Writer, s *series) {
	var path []string
	for _, p := range s.points {
		path = append(path, fmt.Sprintf("%.1f,%.1f", x(p.tris), y(p.cpu)))
	}
	fmt.Fprintf(out, `<polyline points="%s" fill="none" stroke="%s" stroke-width="2"/>`+"\n", strings.Join(path, " "), s.colour)
	for _, p := range s.points {
		mark(out, s, x(p.tris), y(p.cpu))
	}
}

func mark(out *bufio.Writer, s *series, x, y float64) {
	shape := map[string]string{
		"square": "M-4.5-4.5h9v9h-9z", "triangle": "M0-6 5.5 4h-11z", "diamond": "M0-6 6 0 0 6-6 0z",
		"cross": "M-5-3l2-2 3 3 3-3 2 2-3 3 3 3-2 2-3-3-3 3-2-2 3-3z", "circle": "M-5 0a5 5 0 1 0 10 0a5 5 0 1 0-10 0z",
	}[s.mark]
	fmt.Fprintf(out, `<path d="%s" transform="translate(%.1f %.1f)" fill="%s"/>`+"\n", shape, x, y, s.colour)
}

// exponent of growth from the first point to the last.
func (s *series) exponent() float64 {
	a, b := s.points[0], s.points[len(s.points)-1]
	return math.Log(b.cpu/a.cpu) / math.Log(b.tris/a.tris)
}

func count(t float64) string {
	if t < 1e6 {
		return fmt.Sprintf("%.0fk", t/1e3)
	}
	return fmt.Sprintf("%.0fM", t/1e6)
}

func seconds(s float64) string { return strings.TrimSuffix(fmt.Sprintf("%.3g", s), ".0") }
