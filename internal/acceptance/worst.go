package acceptance

import (
	"slices"
	"strconv"
)

// ranked is a value and the index of what has it.
type ranked struct {
	value float64
	at    int
}

// worst keeps the largest maxPlaces values it was given. Equal values keep the order in which they came.
type worst struct{ list []ranked }

func (w *worst) add(value float64, at int) {
	if len(w.list) == maxPlaces && !(value > w.list[maxPlaces-1].value) {
		return
	}
	i, _ := slices.BinarySearchFunc(w.list, value, func(e ranked, v float64) int {
		if e.value >= v {
			return -1
		}
		return 1
	})
	w.list = slices.Insert(w.list, i, ranked{value, at})
	if len(w.list) > maxPlaces {
		w.list = w.list[:maxPlaces]
	}
}

// top returns what was kept, largest first.
func (w *worst) top() []ranked { return w.list }

// numbers reads a list limit of numbers. What is no number ends the list: the spec's reader has refused it already.
func numbers(list []string) []float64 {
	var out []float64
	for _, s := range list {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			break
		}
		out = append(out, v)
	}
	return out
}
