package ledger

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// NewNote is a remark on a delivery. A private one is seen by the studio only.
type NewNote struct {
	Delivery uuid.UUID
	Text     string
	Private  bool
	ReplyTo  uuid.UUID // another note of the same delivery; its privacy counts
	Pin      *Pin
	Sketch   *Sketch
}

// Pin is a place on the delivered surface. Positions are in millimetres in the file's own axes, after its unit.
type Pin struct {
	File       uuid.UUID   `json:"file"` // of the delivery
	Part       string      `json:"part,omitempty"`
	LOD        *int        `json:"lod,omitempty"`
	PositionMM [3]float64  `json:"position_mm"`
	Normal     *[3]float64 `json:"normal,omitempty"`
}

// Note is a remark on a delivery.
type Note struct {
	ID         uuid.UUID
	Delivery   uuid.UUID
	Side       Side
	ByName     string
	Text       string
	Private    bool
	At         time.Time
	Pin        *Pin
	Sketch     *Sketch
	ReplyTo    *uuid.UUID
	Resolved   bool
	ResolvedIn *uuid.UUID // the delivery in which it was mended, where somebody said so
	ResolvedAt *time.Time
}

const noteMax = 10_000

// AddNote leaves a remark on a delivery. A private one is the studio's alone, in its rows and in its log.
func (tx *Tx) AddNote(ctx context.Context, in NewNote) (Note, error) {
	if in.Text == "" || len([]rune(in.Text)) > noteMax {
		return Note{}, invalid("text", "needs 1 to %d characters", noteMax)
	}
	if in.ReplyTo != uuid.Nil {
		if err := tx.QueryRow(ctx, tx.sql(`SELECT vendor_id IS NULL FROM ph.note WHERE id = $1 AND delivery_id = $2 AND studio_id IN (SELECT studio_id FROM ph.delivery WHERE {me} = $3 AND id = $2)`),
			in.ReplyTo, in.Delivery, tx.Who.Party).Scan(&in.Private); err != nil {
			return Note{}, fmt.Errorf("note %s: %w", in.ReplyTo, mapError(err))
		}
	}
	if in.Private {
		if err := tx.allow("a private note", StudioSide); err != nil {
			return Note{}, err
		}
	}
	pin, err := tx.checkPin(ctx, in)
	if err != nil {
		return Note{}, err
	}
	var sketch []byte
	if in.Sketch != nil {
		studio, err := tx.studioOfDelivery(ctx, in.Delivery)
		if err != nil {
			return Note{}, err
		}
		if sketch, err = tx.checkSketch(ctx, studio, in.Delivery, in.Sketch); err != nil {
			return Note{}, err
		}
	}
	var studio, order uuid.UUID
	n := Note{ID: newID(), Delivery: in.Delivery, Side: tx.Who.Side, ByName: tx.Who.Name, Text: in.Text, Private: in.Private, Pin: in.Pin, Sketch: in.Sketch, ReplyTo: idOrNull(in.ReplyTo)}
	err = tx.QueryRow(ctx, tx.sql(`INSERT INTO ph.note (studio_id, vendor_id, work_order_id, delivery_id, id, side, text, salt, by_member, by_name, pin, reply_to, sketch)
		SELECT studio_id, CASE WHEN $3 THEN NULL ELSE vendor_id END, work_order_id, id, $4, $5, $6, $7, $8, $9, $10, $11, $12 FROM ph.delivery WHERE {me} = $1 AND id = $2
		RETURNING at, studio_id, work_order_id`),
		tx.Who.Party, in.Delivery, in.Private, n.ID, n.Side, n.Text, randomBytes(saltBytes), tx.Who.Member, tx.Who.Name, pin, n.ReplyTo, sketch).Scan(&n.At, &studio, &order)
	if err != nil {
		return Note{}, fmt.Errorf("note on delivery %s: %w", in.Delivery, mapError(err))
	}
	log := order
	if in.Private {
		log = studio
	}
	tx.fact(FactNoteWritten, studio, log, n.ID)
	return n, nil
}

// checkPin refuses a pin on a file of another delivery, and numbers that are none.
func (tx *Tx) checkPin(ctx context.Context, in NewNote) ([]byte, error) {
	if in.Pin == nil {
		return nil, nil
	}
	numbers := in.Pin.PositionMM[:]
	if in.Pin.Normal != nil {
		numbers = append(append([]float64{}, numbers...), in.Pin.Normal[:]...)
	}
	for _, v := range numbers {
		if math.IsNaN(v) || math.Abs(v) > 1e9 {
			return nil, invalid("pin", "has a number that is not one of a place")
		}
	}
	if len(in.Pin.Part) > 200 {
		return nil, invalid("pin", "names a part of over 200 bytes")
	}
	var there bool
	if err := tx.QueryRow(ctx, tx.sql(`SELECT EXISTS (SELECT FROM ph.file WHERE {me} = $1 AND delivery_id = $2 AND id = $3)`), tx.Who.Party, in.Delivery, in.Pin.File).Scan(&there); err != nil {
		return nil, fmt.Errorf("file %s: %w", in.Pin.File, err)
	}
	if !there {
		return nil, invalid("pin", "is on a file that this delivery does not have")
	}
	return json.Marshal(in.Pin)
}

// Notes lists a delivery's notes, oldest first; a vendor does not see private ones.
func (tx *Tx) Notes(ctx context.Context, delivery uuid.UUID) ([]Note, error) {
	studio, err := tx.studioOfDelivery(ctx, delivery)
	if err != nil {
		return nil, err
	}
	rows, err := tx.Query(ctx, `SELECT n.id, n.delivery_id, n.side, coalesce(n.by_name, ''), n.text, n.vendor_id IS NULL, n.at, n.pin, n.sketch, n.reply_to,
		coalesce(r.resolved, false), r.delivery_id, CASE WHEN r.resolved THEN r.at END
		FROM ph.note n LEFT JOIN LATERAL (SELECT resolved, delivery_id, at FROM ph.note_resolution WHERE studio_id = n.studio_id AND note_id = n.id ORDER BY id DESC LIMIT 1) r ON true
		WHERE n.studio_id = $1 AND n.delivery_id = $2 ORDER BY n.id`, studio, delivery)
	if err != nil {
		return nil, fmt.Errorf("notes on delivery %s: %w", delivery, err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (n Note, err error) {
		var pin, sketch []byte
		if err = row.Scan(&n.ID, &n.Delivery, &n.Side, &n.ByName, &n.Text, &n.Private, &n.At, &pin, &sketch, &n.ReplyTo, &n.Resolved, &n.ResolvedIn, &n.ResolvedAt); err == nil && pin != nil {
			err = json.Unmarshal(pin, &n.Pin)
		}
		if err == nil && sketch != nil {
			err = json.Unmarshal(sketch, &n.Sketch)
		}
		return n, err
	})
}

// ResolveNote settles a note, or opens it again. The side that wrote a note settles it; the vendor may say in which
// delivery it was mended, which settles nothing by itself unless the note is theirs.
func (tx *Tx) ResolveNote(ctx context.Context, note uuid.UUID, resolved bool, in uuid.UUID) (Note, error) {
	var studio, order, delivery, milestone uuid.UUID
	var vendor *uuid.UUID
	var side Side
	if err := tx.QueryRow(ctx, tx.sql(`SELECT n.studio_id, n.vendor_id, n.work_order_id, n.delivery_id, n.side, d.milestone_id FROM ph.note n
		JOIN ph.delivery d ON d.studio_id = n.studio_id AND d.id = n.delivery_id WHERE d.{me} = $1 AND n.id = $2`), tx.Who.Party, note).
		Scan(&studio, &vendor, &order, &delivery, &side, &milestone); err != nil {
		return Note{}, fmt.Errorf("note %s: %w", note, mapError(err))
	}
	if side != tx.Who.Side {
		return Note{}, fmt.Errorf("%w: the %s wrote this note and settles it", ErrForbidden, side)
	}
	if in != uuid.Nil {
		var same bool
		if err := tx.QueryRow(ctx, `SELECT milestone_id = $3 FROM ph.delivery WHERE studio_id = $1 AND id = $2`, studio, in, milestone).Scan(&same); err != nil || !same {
			return Note{}, invalid("delivery_id", "is no delivery of the note's milestone")
		}
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.note_resolution (studio_id, vendor_id, work_order_id, note_id, id, side, resolved, delivery_id, by_member, by_name)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`, studio, vendor, order, note, id, tx.Who.Side, resolved, idOrNull(in), tx.Who.Member, tx.Who.Name); err != nil {
		return Note{}, fmt.Errorf("settle note %s: %w", note, err)
	}
	log := order
	if vendor == nil {
		log = studio
	}
	tx.fact(FactNoteResolved, studio, log, id)
	return tx.Note(ctx, note)
}

// Note is one note that the caller may see.
func (tx *Tx) Note(ctx context.Context, id uuid.UUID) (Note, error) {
	var delivery uuid.UUID
	if err := tx.QueryRow(ctx, tx.sql(`SELECT n.delivery_id FROM ph.note n JOIN ph.delivery d ON d.studio_id = n.studio_id AND d.id = n.delivery_id
		WHERE d.{me} = $1 AND n.id = $2`), tx.Who.Party, id).Scan(&delivery); err != nil {
		return Note{}, fmt.Errorf("note %s: %w", id, mapError(err))
	}
	all, err := tx.Notes(ctx, delivery)
	if err != nil {
		return Note{}, err
	}
	for _, n := range all {
		if n.ID == id {
			return n, nil
		}
	}
	return Note{}, ErrNotFound
}
