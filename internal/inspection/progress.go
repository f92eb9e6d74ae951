package inspection

import (
	"context"
	"strings"
	"time"

	"proofhouse/internal/ledger"
)

// Stages of an inspection as they are told to those who look on.
const (
	stageFetching = "fetching"
	stageReading  = "reading"
	stageChecking = "checking"
	stageStoring  = "storing"

	stageRecording = "recording"
)

// reportEvery is the least time between two reports: a progress bar needs no more, and NOTIFY is not free.
const reportEvery = 500 * time.Millisecond

// reporter tells how far an inspection is, without ever holding it up: what is said while a report is under way is left
// out but for the last. A report that fails is forgotten; nothing leans on it.
func (s *Service) reporter(ctx context.Context, job ledger.Job) (report func(what string, done float64)) {
	i := job.Inspection
	newest := make(chan ledger.Progress, 1)
	s.busy.Go(func() {
		for {
			select {
			case <-ctx.Done():
				return
			case p := <-newest:
				if err := s.Ledger.Report(ctx, p); err != nil && ctx.Err() == nil {
					s.Log.Debug("progress was not told", "error", err.Error())
				}
			}
			select {
			case <-ctx.Done():
				return
			case <-time.After(reportEvery):
			}
		}
	})
	return func(what string, done float64) {
		p := ledger.Progress{Studio: i.StudioID, Vendor: i.VendorID, Inspection: i.ID, Delivery: i.DeliveryID, Prop: i.PropID, Done: done}
		p.Stage, p.Check = stageOf(what)
		select { // the reporter is the only one to fill it, so there is room after this
		case <-newest:
		default:
		}
		newest <- p
	}
}

// stageOf is the stage of what the child says that it is doing, and the check where it is one. Files are not named.
func stageOf(what string) (stage, check string) {
	word, rest, _ := strings.Cut(what, " ")
	switch word {
	case stageChecking:
		return stageChecking, rest
	case "sorting":
		return stageReading, ""
	}
	return word, ""
}
