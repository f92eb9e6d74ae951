package httpapi

import (
	"context"
	"net/http"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
)

// noted says which routes leave a note of who read what. What is not here shows nothing of a vendor's work beyond lists.
var noted = map[string]struct{ act, param string }{
	"/v1/work-orders/:work_order_id":                     {ledger.ActReadOrder, "work_order_id"},
	"/v1/props/:prop_id":                                 {ledger.ActReadProp, "prop_id"},
	"/v1/deliveries/:delivery_id":                        {ledger.ActReadDelivery, "delivery_id"},
	"/v1/deliveries/:delivery_id/inspections":            {ledger.ActReadDelivery, "delivery_id"},
	"/v1/deliveries/:delivery_id/notes":                  {ledger.ActReadDelivery, "delivery_id"},
	"/v1/inspections/:inspection_id":                     {ledger.ActReadInspection, "inspection_id"},
	"/v1/inspections/:inspection_id/findings":            {ledger.ActReadInspection, "inspection_id"},
	"/v1/inspections/:inspection_id/evidence":            {ledger.ActReadInspection, "inspection_id"},
	"/v1/inspections/:inspection_id/pictures/:picture":   {ledger.ActReadInspection, "inspection_id"},
	"/v1/deliveries/:delivery_id/files/:file_id/content": {ledger.ActReadFile, "file_id"},
	"/v1/work-orders/:work_order_id/export":              {ledger.ActExported, "work_order_id"},
	"/v1/handovers/:handover_id/package":                 {ledger.ActReadHandover, "handover_id"},
	"/orders/:id":                                        {ledger.ActReadOrder, "id"},
	"/props/:id":                                         {ledger.ActReadProp, "id"},
	"/deliveries/:id":                                    {ledger.ActReadDelivery, "id"},
	"/deliveries/:id/view":                               {ledger.ActReadDelivery, "id"},
}

const (
	noteTime     = 5 * time.Second
	notesAtOnce  = 8
	notesTracked = 1 << 16 // a process forgets what it has noted beyond this many an hour, and asks the database again
)

// accessNotes writes who read what beside the answers, once for each hour.
type accessNotes struct {
	mu    sync.Mutex
	hour  time.Time
	seen  map[noteKey]struct{}
	slots chan struct{}
	under sync.WaitGroup
}

type noteKey struct {
	member, subject uuid.UUID
	act             string
}

func newAccessNotes() *accessNotes {
	return &accessNotes{seen: map[noteKey]struct{}{}, slots: make(chan struct{}, notesAtOnce)}
}

// first says whether this has not been noted within the hour.
func (n *accessNotes) first(k noteKey) bool {
	n.mu.Lock()
	defer n.mu.Unlock()
	if hour := time.Now().UTC().Truncate(time.Hour); !hour.Equal(n.hour) || len(n.seen) >= notesTracked {
		n.hour, n.seen = hour, map[noteKey]struct{}{}
	}
	_, ok := n.seen[k]
	n.seen[k] = struct{}{}
	return !ok
}

// Settle waits for the notes that are being written.
func (s *Server) Settle() { s.notes.under.Wait() }

// noteReads leaves a note of what a caller was shown, and that a token was used.
func (s *Server) noteReads(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		err := next(c)
		who, ok := Caller(c.Request().Context())
		if !ok {
			return err
		}
		if who.Token != uuid.Nil {
			s.note(c, who, ledger.ActTokenUsed, who.Token)
		}
		row, ok := noted[c.Path()]
		if !ok || err != nil || c.Request().Method != http.MethodGet || c.Response().Status >= http.StatusBadRequest {
			return err
		}
		if id, bad := uuid.Parse(c.Param(row.param)); bad == nil {
			s.note(c, who, row.act, id)
		}
		return err
	}
}

func (s *Server) note(c echo.Context, who ledger.Who, act string, subject uuid.UUID) {
	if !s.notes.first(noteKey{who.Member, subject, act}) {
		return
	}
	ctx, address := context.WithoutCancel(c.Request().Context()), c.RealIP()
	s.notes.under.Add(1)
	s.notes.slots <- struct{}{}
	go func() {
		defer s.notes.under.Done()
		defer func() { <-s.notes.slots }()
		short, cancel := context.WithTimeout(ctx, noteTime)
		defer cancel()
		if err := s.store.InTx(short, who, func(tx *ledger.Tx) error { return tx.NoteAccess(short, act, subject, address) }); err != nil {
			s.log.ErrorContext(ctx, "an access is not noted", "act", act, "subject", subject, "member", who.Member, "error", err.Error())
		}
	}()
}
