package httpapi

import (
	"context"
	"net/http"
	"strconv"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// handlers are the operations of the description, apart from the downloads.
type handlers struct{ *Server }

var _ api.StrictServerInterface = (*handlers)(nil)

// as runs fn in one transaction of the caller.
func (s *Server) as(ctx context.Context, fn func(tx *ledger.Tx) error) error {
	who, ok := Caller(ctx)
	if !ok {
		return problem(kindUnauthorized, "This needs a session or a token.")
	}
	return s.store.InTx(ctx, who, fn)
}

// read runs one operation in a transaction of the caller, which cannot write where the request only reads.
func read[T any](ctx context.Context, s *Server, fn func(tx *ledger.Tx) (T, error)) (out T, err error) {
	who, ok := Caller(ctx)
	if !ok {
		return out, problem(kindUnauthorized, "This needs a session or a token.")
	}
	run, answer := s.store.InTx, inboundOf(ctx).answer
	if m := request(ctx).Method; m == http.MethodGet || m == http.MethodHead {
		run = s.store.Reading
	}
	err = run(ctx, who, func(tx *ledger.Tx) (err error) {
		out, err = fn(tx)
		if leaves, added := tx.Leaves(); added && err == nil {
			answer.Header().Set(leavesHeader, strconv.FormatInt(leaves, 10))
		}
		return err
	})
	return out, err
}

// leavesHeader says of an answer that has sums over many rows up to which leaves of the caller's logs, counted together, they go.
const leavesHeader = "Log-Leaves"

// once runs effect under the request's idempotency key, in one transaction with it. A repeat finds what was made by its
// id instead, and says so.
func once[T any](ctx context.Context, s *Server, kind string,
	effect func(tx *ledger.Tx) (T, uuid.UUID, error), find func(tx *ledger.Tx, id uuid.UUID) (T, error),
) (out T, repeat bool, err error) {
	return onceAhead(ctx, s, kind, func(*ledger.Tx) {}, effect, find)
}

// onceAhead is once for an effect that says ahead what it will ask for, so that it goes out with the key.
func onceAhead[T any](ctx context.Context, s *Server, kind string, ahead func(tx *ledger.Tx),
	effect func(tx *ledger.Tx) (T, uuid.UUID, error), find func(tx *ledger.Tx, id uuid.UUID) (T, error),
) (out T, repeat bool, err error) {
	err = s.as(ctx, func(tx *ledger.Tx) error {
		ahead(tx)
		ref, again, err := ledger.Idempotent(ctx, tx, request(ctx), func() (ledger.Ref, error) {
			made, id, err := effect(tx)
			out = made
			return ledger.Ref{Kind: kind, ID: id}, err
		})
		if repeat = again; err == nil && again {
			out, err = find(tx, ref.ID)
		}
		return err
	})
	return out, repeat, err
}

// among finds one item of a short list.
func among[T any](items []T, err error, is func(T) bool) (T, error) {
	var none T
	if err != nil {
		return none, err
	}
	for _, item := range items {
		if is(item) {
			return item, nil
		}
	}
	return none, ledger.ErrNotFound
}

// readyTime bounds one look at each part.
const readyTime = handlerTime / 10

func (h *handlers) GetHealth(context.Context, api.GetHealthRequestObject) (api.GetHealthResponseObject, error) {
	return api.GetHealth200JSONResponse{Status: "ok"}, nil
}

func (h *handlers) GetReadiness(ctx context.Context, _ api.GetReadinessRequestObject) (api.GetReadinessResponseObject, error) {
	ctx, cancel := context.WithTimeout(ctx, readyTime)
	defer cancel()
	parts, ready := h.look(ctx)
	if !ready {
		return api.GetReadiness503JSONResponse{Status: "not ready", Parts: &parts}, nil
	}
	return api.GetReadiness200JSONResponse{Status: "ok", Parts: &parts}, nil
}

// look asks every part at once whether it is fit for work. What is wrong with one goes to the log, not to the caller.
func (s *Server) look(ctx context.Context) (map[string]string, bool) {
	type answer struct {
		name string
		err  error
	}
	answers := make(chan answer, len(s.ready))
	var group errgroup.Group
	for name, check := range s.ready {
		group.Go(func() error { answers <- answer{name, check(ctx)}; return nil })
	}
	_ = group.Wait() // its functions return no errors
	close(answers)
	parts, ready := map[string]string{}, true
	for a := range answers {
		parts[a.name] = "ok"
		if a.err != nil {
			parts[a.name], ready = "not ready", false
			s.log.WarnContext(ctx, "not ready", "part", a.name, "error", a.err.Error())
		}
	}
	return parts, ready
}
