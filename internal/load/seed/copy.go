package seed

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// rows are a table's new rows in the binary form of COPY (PostgreSQL documentation, "COPY", file formats), each with the
// instant at which the service would have written it.
type rows struct {
	data []byte
	end  []int
	at   []int64
}

func (r *rows) begin(columns int) *rows {
	r.data = binary.BigEndian.AppendUint16(r.data, uint16(columns))
	return r
}

// done ends a row. Rows of one instant stay in the order in which they came.
func (r *rows) done(at time.Time) {
	r.end, r.at = append(r.end, len(r.data)), append(r.at, at.UnixMicro())
}

func (r *rows) length(n int) { r.data = binary.BigEndian.AppendUint32(r.data, uint32(n)) }

func (r *rows) null() *rows { r.data = append(r.data, 0xff, 0xff, 0xff, 0xff); return r }

func (r *rows) bytes(b []byte) *rows {
	r.length(len(b))
	r.data = append(r.data, b...)
	return r
}

func (r *rows) text(s string) *rows {
	r.length(len(s))
	r.data = append(r.data, s...)
	return r
}

// textOr is NULL for "".
func (r *rows) textOr(s string) *rows {
	if s == "" {
		return r.null()
	}
	return r.text(s)
}

func (r *rows) id(u uuid.UUID) *rows {
	r.length(len(u))
	r.data = append(r.data, u[:]...)
	return r
}

// idOr is NULL for the zero id.
func (r *rows) idOr(u uuid.UUID) *rows {
	if u == uuid.Nil {
		return r.null()
	}
	return r.id(u)
}

func (r *rows) i2(v int) *rows {
	r.length(2)
	r.data = binary.BigEndian.AppendUint16(r.data, uint16(v))
	return r
}

func (r *rows) i4(v int) *rows {
	r.length(4)
	r.data = binary.BigEndian.AppendUint32(r.data, uint32(v))
	return r
}

func (r *rows) i8(v int64) *rows {
	r.length(8)
	r.data = binary.BigEndian.AppendUint64(r.data, uint64(v))
	return r
}

func (r *rows) f8(v float64) *rows {
	r.length(8)
	r.data = binary.BigEndian.AppendUint64(r.data, math.Float64bits(v))
	return r
}

// number is NULL for nil.
func (r *rows) number(v *float64) *rows {
	if v == nil {
		return r.null()
	}
	return r.f8(*v)
}

func (r *rows) bool(v bool) *rows {
	r.length(1)
	if v {
		r.data = append(r.data, 1)
	} else {
		r.data = append(r.data, 0)
	}
	return r
}

var epoch = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) // PostgreSQL counts times and days from here

func (r *rows) time(t time.Time) *rows { return r.i8(t.UnixMicro() - epoch.UnixMicro()) }

// timeOr is NULL for the zero time.
func (r *rows) timeOr(t time.Time) *rows {
	if t.IsZero() {
		return r.null()
	}
	return r.time(t)
}

func (r *rows) date(t time.Time) *rows { return r.i4(int(t.Sub(epoch) / (24 * time.Hour))) }

const oidText = 25

func (r *rows) texts(list ...string) *rows {
	a := binary.BigEndian.AppendUint32(nil, uint32(min(len(list), 1))) // dimensions
	a = binary.BigEndian.AppendUint32(a, 0)                            // no nulls
	a = binary.BigEndian.AppendUint32(a, oidText)
	if len(list) > 0 {
		a = binary.BigEndian.AppendUint32(a, uint32(len(list)))
		a = binary.BigEndian.AppendUint32(a, 1)
	}
	for _, s := range list {
		a = binary.BigEndian.AppendUint32(a, uint32(len(s)))
		a = append(a, s...)
	}
	return r.bytes(a)
}

func (r *rows) reset() { r.data, r.end, r.at = r.data[:0], r.end[:0], r.at[:0] }

// file is the rows in the order of their instants, as COPY reads them.
func (r *rows) file() []byte {
	order := make([]int, len(r.end))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(r.at[a], r.at[b]) })
	out := make([]byte, 0, len(r.data)+32)
	out = append(out, "PGCOPY\n\xff\r\n\x00\x00\x00\x00\x00\x00\x00\x00\x00"...)
	for _, i := range order {
		from := 0
		if i > 0 {
			from = r.end[i-1]
		}
		out = append(out, r.data[from:r.end[i]]...)
	}
	return append(out, 0xff, 0xff)
}

// copyInto sends rows to a table. frozen says that this transaction emptied it, so that its rows need no later vacuum.
func copyInto(ctx context.Context, tx pgx.Tx, table, columns string, r *rows, frozen bool) error {
	if len(r.end) == 0 {
		return nil
	}
	options := "FORMAT binary"
	if frozen {
		options += ", FREEZE"
	}
	_, err := tx.Conn().PgConn().CopyFrom(ctx, bytes.NewReader(r.file()), fmt.Sprintf(`COPY ph.%s (%s) FROM STDIN WITH (%s)`, table, columns, options))
	if err != nil {
		return fmt.Errorf("copy into %s: %w", table, err)
	}
	r.reset()
	return nil
}
