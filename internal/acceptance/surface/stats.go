package surface

import (
	"math"
	"math/bits"
)

// spread sums distances with weights and finds percentiles. Weights are whole numbers (about 2^weightBits in all), so that
// the order in which they are added does not matter. They may be below zero, to take back what was added.
//
// Percentiles come from a histogram over the distance's float32 bits without their lowest dropBits: a step of 2^-12 of
// the value. They are told to half a step, 0.013 % of the value.
type spread struct {
	pages [binPages]*[binPage]int64 // by the upper bits of the bin
}

const (
	weightBits = 40
	dropBits   = 11
	binPage    = 1 << 10
	binPages   = 1 << (31 - dropBits) / binPage
)

func (s *spread) add(distance float32, weight int64) {
	bin := math.Float32bits(max(distance, 0)) >> dropBits
	page := s.pages[bin/binPage%binPages]
	if page == nil {
		page = new([binPage]int64)
		s.pages[bin/binPage%binPages] = page
	}
	page[bin%binPage] += weight
}

func (s *spread) merge(o *spread) {
	for number, page := range o.pages {
		switch {
		case page == nil:
		case s.pages[number] == nil:
			s.pages[number] = page
		default:
			for i, w := range page {
				s.pages[number][i] += w
			}
		}
	}
}

// percentiles gives the smallest distances below which the given shares of the weight lie. shares ascend.
func (s *spread) percentiles(shares ...float64) []float64 {
	total := s.total()
	out := make([]float64, len(shares))
	if total <= 0 {
		return out
	}
	var sum int64
	next := 0
	for number, page := range s.pages {
		if page == nil {
			continue
		}
		for i, w := range page {
			sum += w
			for next < len(shares) && w != 0 && sum >= partOf(total, shares[next]) {
				out[next] = middleOf(uint32(number*binPage + i))
				next++
			}
		}
	}
	return out
}

func (s *spread) total() int64 {
	var total int64
	for _, page := range s.pages {
		if page != nil {
			for _, w := range page {
				total += w
			}
		}
	}
	return total
}

func middleOf(bin uint32) float64 {
	if bin == 0 {
		return 0
	}
	return (float64(math.Float32frombits(bin<<dropBits)) + float64(math.Float32frombits((bin+1)<<dropBits))) / 2
}

// partOf is the share of total, in whole numbers.
func partOf(total int64, share float64) int64 {
	hi, lo := bits.Mul64(uint64(total), uint64(share*(1<<32)))
	return int64(hi<<32 | lo>>32)
}
