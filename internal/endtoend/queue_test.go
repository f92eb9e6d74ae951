package endtoend

import (
	"context"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/aws/aws-sdk-go-v2/aws"
	"github.com/aws/aws-sdk-go-v2/credentials"
	"github.com/aws/aws-sdk-go-v2/service/s3"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/client"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/storage"
)

// evidence fetches the evidence of an inspection through the API and holds the stored objects and the ledger's rows
// against it.
func (h *harbour) evidence(i *client.InspectionHead) *acceptance.Evidence {
	t := h.t
	t.Helper()
	answer, err := h.vendor.GetEvidenceWithResponse(t.Context(), i.Id)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, answer.StatusCode(), string(answer.Body))
	var e acceptance.Evidence
	require.NoError(t, json.Unmarshal(answer.Body, &e))

	rows, err := h.owner.Query(t.Context(), `SELECT name, object_key, encode(sha256, 'hex'), size, work_order_id::text FROM ph.evidence WHERE inspection_id = $1`, i.Id)
	require.NoError(t, err)
	names := map[string]bool{}
	for rows.Next() {
		var name, object, sum, order string
		var size int64
		require.NoError(t, rows.Scan(&name, &object, &sum, &size, &order))
		require.Equal(t, storage.EvidenceKey(order, sum), object, "under its digest, within its work order")
		got, n, err := h.store.Fetch(t.Context(), object, "", discard{})
		require.NoError(t, err)
		require.Equal(t, sum, got, name)
		require.Equal(t, size, n, name)
		names[name] = true
	}
	require.NoError(t, rows.Err())
	require.True(t, names["evidence.json"])
	for _, p := range e.Pictures {
		require.True(t, names[p.Name], p.Name)
	}
	require.Len(t, names, 1+len(e.Pictures))

	rows, err = h.owner.Query(t.Context(), `SELECT ord, chk, part, set_name, file, outcome, blocks, measured FROM ph.finding WHERE inspection_id = $1 ORDER BY ord`, i.Id)
	require.NoError(t, err)
	n := 0
	for rows.Next() {
		var ord int
		var got acceptance.Finding
		var measured *float64
		require.NoError(t, rows.Scan(&ord, &got.Check, &got.Part, &got.Set, &got.File, &got.Outcome, &got.Blocks, &measured))
		want := e.Findings[ord]
		require.Equal(t, n, ord)
		require.Equal(t, []any{want.Check, want.Part, want.Set, want.File, want.Outcome, want.Blocks}, []any{got.Check, got.Part, got.Set, got.File, got.Outcome, got.Blocks})
		require.Equal(t, want.Measured == nil, measured == nil, want.Check)
		if measured != nil {
			require.InDelta(t, want.Measured.Value, *measured, 0, want.Check)
		}
		n++
	}
	require.NoError(t, rows.Err())
	require.Len(t, e.Findings, n)
	require.EqualValues(t, e.Verdict, *i.Verdict)
	require.Equal(t, e.Headline, i.Headline)
	return &e
}

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }

func findings(e *acceptance.Evidence, check string) (out []acceptance.Finding) {
	for _, f := range e.Findings {
		if f.Check == check {
			out = append(out, f)
		}
	}
	return out
}

// Kill -9 at each stage of an inspection: while the worker pulls the files, while the child inspects, while the evidence
// is stored. Whatever is killed goes on elsewhere, and counts once.
func TestKilledWorkerLeadsToOneRecordedInspection(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	milestone := h.contract("box", "background", boxSpec("box"))

	pulling := h.gate.holdOn(pulls)
	first := h.serve()
	d := h.deliver(milestone, folder, roles)
	<-pulling
	require.Equal(t, 1, h.count(`SELECT count(*) FROM ph.inspection WHERE state = 'running' AND fence = 1`))
	first.kill()
	h.gate.open()
	h.lapse()

	storing := h.gate.holdOn(stores) // the child is done by now
	second := h.serve()
	<-storing
	require.Equal(t, 1, h.count(`SELECT count(*) FROM ph.inspection WHERE state = 'running' AND fence = 2`))
	second.kill()
	h.gate.open()
	h.lapse()

	third := h.serve()
	got := h.await(d)
	require.Equal(t, 3, h.count(`SELECT attempts FROM ph.inspection`))
	h.recordedOnce(1)
	h.evidence(got)
	require.Zero(t, third.stop())
}

// A worker that is killed leaves its child and its files behind; neither may stay.
func TestKilledWorkersChildAndFilesGoToo(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	scratch := t.TempDir()
	storing := h.gate.holdOn(stores)
	killed := h.serve("--scratch", scratch)
	d := h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles)
	<-storing
	killed.kill()
	left, err := filepath.Glob(filepath.Join(scratch, "*"))
	require.NoError(t, err)
	require.Len(t, left, 1, "nobody was there to clear away")
	h.gate.open()
	h.lapse()
	next := h.serve("--scratch", scratch)
	h.await(d)
	require.Zero(t, next.stop())
	left, err = filepath.Glob(filepath.Join(scratch, "*"))
	require.NoError(t, err)
	require.Empty(t, left)
}

// Two workers with two slots each over one queue: nothing is done twice, nothing is left. The wake-up tickets are gone
// with the results.
func TestWorkersDoNothingTwice(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	const props = 6
	var sent []*client.Delivered
	for i := range props {
		code := "box_" + string(rune('a'+i))
		folder, roles := boxFolder(t, code)
		sent = append(sent, h.deliver(h.contract(code, "background", boxSpec(code)), folder, roles))
	}
	a, b := h.serve("--slots", "2", "--threads", "1"), h.serve("--slots", "2", "--threads", "1")
	for _, d := range sent {
		h.await(d)
	}
	h.recordedOnce(props)
	require.Equal(t, props, h.count(`SELECT sum(attempts) FROM ph.inspection`), "each was taken once")
	require.Equal(t, props, len(a.logged("inspected"))+len(b.logged("inspected")))
	require.Zero(t, a.stop())
	require.Zero(t, b.stop())
	require.Zero(t, h.count(`SELECT count(*) FROM river.river_job WHERE state NOT IN ('completed', 'available', 'scheduled', 'retryable')`), "no ticket is stuck")
	require.Empty(t, append(a.logged("error"), b.logged("error")...))
}

// The ticket is completed in the transaction that records the result, not after it.
func TestTicketIsCompletedWithTheRecord(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	storing := h.gate.holdOn(stores)
	p := h.serve()
	folder, roles := boxFolder(t, "box")
	d := h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles)
	<-storing
	// Every column of the record and of the ticket shows the transaction that wrote it.
	require.Equal(t, 1, h.count(`SELECT count(*) FROM river.river_job WHERE state = 'running'`), "the ticket, not the sweep, must have taken it for this test")
	h.gate.open()
	h.await(d)
	require.Equal(t, 1, h.count(`SELECT count(*) FROM river.river_job j, ph.fact f WHERE j.state = 'completed' AND f.kind = 'inspection.recorded' AND j.xmin = f.xmin`))
	require.Zero(t, p.stop())
}

// SIGTERM: what runs may end and is recorded; what does not end in time is given back without counting the attempt.
func TestStopDrains(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	storing := h.gate.holdOn(stores)
	p := h.serve()
	d := h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles)
	<-storing
	require.NoError(t, p.cmd.Process.Signal(os.Interrupt))
	p.awaitLine("stopping")
	h.gate.open()
	p.ended()
	require.Zero(t, p.cmd.ProcessState.ExitCode())
	h.recordedOnce(1)
	require.Equal(t, "done", string(h.await(d).State))

	folder, roles = boxFolder(t, "box_b")
	storing = h.gate.holdOn(stores)
	impatient := h.serve("--grace", "1ms")
	h.deliver(h.contract("box_b", "background", boxSpec("box_b")), folder, roles)
	<-storing
	require.Zero(t, impatient.stop())
	require.Equal(t, 1, h.count(`SELECT count(*) FROM ph.inspection WHERE state = 'queued' AND attempts = 0`), "given back")
	h.gate.open()
	last := h.serve()
	h.eventually("the second is recorded", `SELECT (count(*) = 2)::int FROM ph.inspection WHERE state = 'done'`)
	require.Zero(t, last.stop())
	h.recordedOnce(2)
}

// Storage that is away delays, and loses nothing: neither the inspection nor one of its attempts.
func TestStorageOutageDelays(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	d := h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles)
	h.gate.close()
	p := h.serve()
	p.awaitLine("trying again") // while it pulls
	storing := h.gate.holdOn(stores)
	h.gate.mu.Lock()
	h.gate.closed = false
	h.gate.mu.Unlock()
	<-storing
	h.gate.close()
	h.gate.mu.Lock() // what waits is cut off
	close(h.gate.free)
	h.gate.free, h.gate.hold = nil, nil
	h.gate.mu.Unlock()
	h.gate.open()
	got := h.await(d)
	require.Equal(t, 1, h.count(`SELECT attempts FROM ph.inspection`))
	h.recordedOnce(1)
	h.evidence(got)
	require.Zero(t, p.stop())
}

// The same with the S3 server itself: it is stopped while a delivery waits, and started again over the same folder. Not
// in parallel: the other tests use it.
func TestStorageServerRestarts(t *testing.T) {
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	d := h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles)
	address := strings.TrimPrefix(objects.Endpoint, "http://")
	require.NoError(t, objects.Stop())
	p := h.serve()
	p.awaitLine("trying again")
	again, err := s3server.Start(t.Context(), s3server.Config{Dir: objectDir, Listen: address, Bucket: objects.Bucket})
	require.NoError(t, err)
	objects = again
	h.evidence(h.await(d))
	h.recordedOnce(1)
	require.Equal(t, 1, h.count(`SELECT attempts FROM ph.inspection`))
	require.Zero(t, p.stop())
}

// An object that was changed or removed behind the seal is told as what it is: the file is not the one that was sealed.
func TestChangedAndMissingObjects(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	require.NoError(t, os.WriteFile(filepath.Join(folder, "box_notes.txt"), []byte("as agreed"), 0o600))
	roles["box_notes.txt"] = "other"
	d := h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles)
	for path, act := range map[string]func(c *s3.Client, key string) error{
		"box_game.glb": func(c *s3.Client, key string) error {
			_, err := c.PutObject(context.Background(), &s3.PutObjectInput{Bucket: &objects.Bucket, Key: &key, Body: strings.NewReader("something else")})
			return err
		},
		"box_notes.txt": func(c *s3.Client, key string) error {
			_, err := c.DeleteObject(context.Background(), &s3.DeleteObjectInput{Bucket: &objects.Bucket, Key: &key})
			return err
		},
	} {
		var key string
		require.NoError(t, h.owner.QueryRow(t.Context(), `SELECT object_key FROM ph.file WHERE path = $1`, path).Scan(&key))
		require.NoError(t, act(asAPI(), key))
	}
	p := h.serve()
	e := h.evidence(h.await(d))
	require.Equal(t, acceptance.VerdictFail, e.Verdict)
	intact := findings(e, "file.intact")
	require.Len(t, intact, 2)
	for _, f := range intact {
		require.Equal(t, acceptance.Fail, f.Outcome, f.File)
		require.True(t, f.Blocks)
		require.NotEmpty(t, f.Sentence)
		require.NotEmpty(t, f.Remedy)
	}
	require.Len(t, p.logged("stays away"), 2)
	require.Zero(t, p.stop())
}

func asAPI() *s3.Client {
	return s3.New(s3.Options{
		BaseEndpoint: aws.String(objects.Endpoint), Region: s3server.Region, UsePathStyle: true,
		Credentials: credentials.NewStaticCredentialsProvider(objects.API.Access, objects.API.Secret, ""),
	})
}

// Each object is read once.
func TestObjectsAreReadOnce(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	p := h.serve()
	h.await(h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles))
	reads := slices.DeleteFunc(h.gate.requests(), func(r string) bool { return !strings.HasPrefix(r, "GET /"+objects.Bucket+"/in/") })
	require.Len(t, reads, 1)
	require.Zero(t, p.stop())
}
