package ledger

import "context"

type traceKey struct{}

// WithTrace says which request a context works for: a trace id of 32 hexadecimal digits (W3C Trace Context, section 3.2.2.3).
// An inspection that is asked for in it carries the id to its worker.
func WithTrace(ctx context.Context, id string) context.Context {
	return context.WithValue(ctx, traceKey{}, id)
}

// TraceOf is the id that WithTrace gave, or "".
func TraceOf(ctx context.Context) string {
	id, _ := ctx.Value(traceKey{}).(string)
	return id
}
