package ledger

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"
	"github.com/jackc/pgx/v5/pgxpool"
)

// PlainUUIDs makes a pool's connections send and read UUIDs as their 16 bytes. The driver knows this package's type only by its text:
// it would format, fail to send text as bytes, and read it again, for every id of every statement.
func PlainUUIDs(cfg *pgxpool.Config) {
	cfg.AfterConnect = func(_ context.Context, conn *pgx.Conn) error {
		element := &pgtype.Type{Name: "uuid", OID: pgtype.UUIDOID, Codec: uuidCodec{}}
		conn.TypeMap().RegisterType(element)
		conn.TypeMap().RegisterType(&pgtype.Type{Name: "_uuid", OID: pgtype.UUIDArrayOID, Codec: &pgtype.ArrayCodec{ElementType: element}})
		return nil
	}
}

// uuidCodec is the driver's own, with the type of google/uuid in PostgreSQL's binary format beside it.
type uuidCodec struct{ pgtype.UUIDCodec }

// PlanEncode is how a value is sent.
func (c uuidCodec) PlanEncode(m *pgtype.Map, oid uint32, format int16, value any) pgtype.EncodePlan {
	if _, ok := value.(uuid.UUID); ok && format == pgtype.BinaryFormatCode {
		return sendUUID{}
	}
	return c.UUIDCodec.PlanEncode(m, oid, format, value)
}

// PlanScan is how a value is read.
func (c uuidCodec) PlanScan(m *pgtype.Map, oid uint32, format int16, target any) pgtype.ScanPlan {
	if _, ok := target.(*uuid.UUID); ok && format == pgtype.BinaryFormatCode {
		return readUUID{}
	}
	return c.UUIDCodec.PlanScan(m, oid, format, target)
}

type sendUUID struct{}

// Encode appends the 16 bytes.
func (sendUUID) Encode(value any, buf []byte) ([]byte, error) {
	id := value.(uuid.UUID) // PlanEncode has looked
	return append(buf, id[:]...), nil
}

type readUUID struct{}

// Scan reads the 16 bytes. NULL becomes the zero UUID, as that type's own Scan has it.
func (readUUID) Scan(src []byte, target any) error {
	id := target.(*uuid.UUID) // PlanScan has looked
	switch len(src) {
	case 16:
		copy(id[:], src)
	case 0:
		*id = uuid.Nil
	default:
		return fmt.Errorf("a UUID has 16 bytes, not %d", len(src))
	}
	return nil
}
