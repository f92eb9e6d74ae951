package seed

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math/bits"
	"math/rand/v2"
	"strconv"
	"time"

	"github.com/google/uuid"
	"golang.org/x/mod/sumdb/tlog"
)

// act is a fact before it is a leaf: its data is canonical JSON already.
type act struct {
	at      time.Time
	kind    string
	version int
	subject uuid.UUID
	actor   string
	by      *person // nil for the machine
	data    []byte
}

// logBook is one log while its leaves are added.
type logBook struct {
	studio, vendor, id uuid.UUID
	size               int64
	hashes             hashes
}

// hashes are a log's stored hashes by their index.
type hashes []tlog.Hash

// ReadHashes is what tlog asks.
func (h hashes) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, idx := range indexes {
		if idx >= int64(len(h)) {
			return nil, fmt.Errorf("stored hash %d is missing", idx)
		}
		out[i] = h[idx]
	}
	return out, nil
}

const stampForm = "2006-01-02T15:04:05.000000Z"

// add appends a leaf and writes its rows.
func (l *logBook) add(rng *rand.Rand, t *tables, a act) error {
	body := make([]byte, 0, 320+len(a.data))
	body = append(body, `{"actor":"`...)
	body = append(body, a.actor...)
	body = append(body, `","data":`...)
	body = append(body, a.data...)
	body = append(body, `,"kind":"`...)
	body = append(body, a.kind...)
	body = append(body, `","log":"`...)
	body = appendID(body, l.id)
	var salt [16]byte
	if a.by != nil {
		binary.LittleEndian.PutUint64(salt[:], rng.Uint64())
		binary.LittleEndian.PutUint64(salt[8:], rng.Uint64())
		sum := sha256.Sum256(append(salt[:len(salt):len(salt)], a.by.name...))
		body = append(body, `","member":"`...)
		body = appendID(body, a.by.id)
		body = append(body, `","name_commit":"`...)
		body = hex.AppendEncode(body, sum[:])
	}
	body = append(body, `","recorded_at":"`...)
	body = a.at.AppendFormat(body, stampForm)
	body = append(body, `","subject":"`...)
	body = appendID(body, a.subject)
	body = append(body, `","version":`...)
	body = strconv.AppendInt(body, int64(a.version), 10)
	body = append(body, '}')

	added, err := tlog.StoredHashes(l.size, body, l.hashes)
	if err != nil {
		return fmt.Errorf("log %s, leaf %d: %w", l.id, l.size, err)
	}
	r := t.begin("fact").id(l.studio).idOr(l.vendor).id(l.id).i8(l.size).text(a.kind).i4(a.version).id(a.subject).text(a.actor)
	if a.by == nil {
		r.null()
	} else {
		r.id(a.by.id)
		p := t.begin("fact_person").id(l.studio).idOr(l.vendor).id(l.id).i8(l.size).bytes(salt[:]).text(a.by.name)
		p.done(a.at)
	}
	r.time(a.at).bytes(body).done(a.at)
	for i, h := range added {
		r := t.begin("log_hash").id(l.studio).idOr(l.vendor).id(l.id).i8(int64(len(l.hashes) + i)).bytes(h[:])
		r.done(a.at)
	}
	l.hashes = append(l.hashes, added...)
	l.size++
	return nil
}

// head is the log's root, and the hashes of the full subtrees that make it up, the largest first.
func (l *logBook) head() (root tlog.Hash, frontier []byte, err error) {
	if root, err = tlog.TreeHash(l.size, l.hashes); err != nil {
		return root, nil, err
	}
	for level := bits.Len64(uint64(l.size)) - 1; level >= 0; level-- {
		if l.size>>level&1 == 1 {
			h := l.hashes[tlog.StoredHashIndex(level, l.size>>level-1)]
			frontier = append(frontier, h[:]...)
		}
	}
	return root, frontier, nil
}

func appendID(b []byte, u uuid.UUID) []byte {
	var text [36]byte
	const digits = "0123456789abcdef"
	at := 0
	for i, v := range u {
		if i == 4 || i == 6 || i == 8 || i == 10 {
			text[at] = '-'
			at++
		}
		text[at], text[at+1] = digits[v>>4], digits[v&15]
		at += 2
	}
	return append(b, text[:]...)
}

// object writes canonical JSON of our own plain texts, numbers and ids; its members have to come in their order.
type object struct{ b []byte }

func (o *object) key(k string) {
	if len(o.b) == 0 {
		o.b = append(o.b, '{')
	} else {
		o.b = append(o.b, ',')
	}
	o.b = append(o.b, '"')
	o.b = append(o.b, k...)
	o.b = append(o.b, `":`...)
}

func (o *object) text(k, v string) *object {
	o.key(k)
	o.b = append(append(append(o.b, '"'), v...), '"')
	return o
}

// textOr is null for "".
func (o *object) textOr(k, v string) *object {
	if v == "" {
		return o.raw(k, "null")
	}
	return o.text(k, v)
}

func (o *object) raw(k, v string) *object { o.key(k); o.b = append(o.b, v...); return o }

func (o *object) int(k string, v int64) *object {
	o.key(k)
	o.b = strconv.AppendInt(o.b, v, 10)
	return o
}

func (o *object) hex(k string, v []byte) *object {
	o.key(k)
	o.b = append(hex.AppendEncode(append(o.b, '"'), v), '"')
	return o
}

// id is null for the zero id.
func (o *object) id(k string, v uuid.UUID) *object {
	if v == uuid.Nil {
		return o.raw(k, "null")
	}
	o.key(k)
	o.b = append(appendID(append(o.b, '"'), v), '"')
	return o
}

func (o *object) end() []byte { return append(o.b, '}') }
