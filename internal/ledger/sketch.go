package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/google/uuid"
)

// Sketch is what somebody drew on a picture of an inspection. A stroke is a list of x, y, x, y … in ten-thousandths of
// the picture's width and height, from its upper left corner.
type Sketch struct {
	Inspection uuid.UUID `json:"inspection"`
	Picture    string    `json:"picture"` // name of the evidence object
	Strokes    [][]int   `json:"strokes"`
}

// Bounds of a sketch, and the whole of the scale that its strokes are in.
const (
	strokesMax     = 200
	strokeMax      = 2000 // numbers of one stroke
	sketchMax      = 16_000
	sketchWhole    = 10_000
	sketchFormsEnd = ".png"
)

// checkSketch refuses a drawing on a picture that the delivery does not have, and numbers outside the picture. It answers
// the sketch as it is stored; nil where there is none.
func (tx *Tx) checkSketch(ctx context.Context, studio, delivery uuid.UUID, s *Sketch) ([]byte, error) {
	if s == nil {
		return nil, nil
	}
	if len(s.Strokes) < 1 || len(s.Strokes) > strokesMax {
		return nil, invalid("sketch", "needs 1 to %d strokes", strokesMax)
	}
	n := 0
	for _, stroke := range s.Strokes {
		if len(stroke) < 2 || len(stroke)%2 != 0 || len(stroke) > strokeMax {
			return nil, invalid("sketch", "has a stroke that is not 1 to %d points of two numbers", strokeMax/2)
		}
		n += len(stroke)
		for _, v := range stroke {
			if v < 0 || v > sketchWhole {
				return nil, invalid("sketch", "has a point outside the picture")
			}
		}
	}
	if n > sketchMax {
		return nil, invalid("sketch", "has over %d numbers", sketchMax)
	}
	var there bool
	if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM ph.evidence e JOIN ph.inspection i ON i.studio_id = e.studio_id AND i.id = e.inspection_id
		WHERE e.studio_id = $1 AND i.delivery_id = $2 AND i.id = $3 AND e.name = $4)`, studio, delivery, s.Inspection, s.Picture).Scan(&there); err != nil {
		return nil, fmt.Errorf("picture %s of inspection %s: %w", s.Picture, s.Inspection, err)
	}
	if !there || !strings.HasSuffix(s.Picture, sketchFormsEnd) {
		return nil, invalid("sketch", "is on a picture that this delivery does not have")
	}
	return json.Marshal(s)
}
