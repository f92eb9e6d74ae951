package ledger_test

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

func (s *scene) post() *ledger.Post { return s.postWith(s.postKey()) }

func (s *scene) postWith(key ledger.PostKey) *ledger.Post {
	return ledger.NewPost(s.db.Pool(ledger.RolePost), key)
}

func (s *scene) postKey() ledger.PostKey {
	s.t.Helper()
	text, err := ledger.PostKeyFile(filepath.Join(s.t.TempDir(), "post.key"))
	require.NoError(s.t, err)
	key, err := ledger.ParsePostKey(text)
	require.NoError(s.t, err)
	return key
}

// news is all that a caller's party was told.
func (s *scene) news(who ledger.Who) (all []ledger.News) {
	s.t.Helper()
	for after := int64(0); ; {
		var page []ledger.News
		s.as(who, func(tx *ledger.Tx) (err error) { page, err = tx.News(s.ctx(), after); return err })
		if len(page) == 0 {
			return all
		}
		all = append(all, page...)
		after = page[len(page)-1].Seq
	}
}

func kindsOf(list []ledger.News) (kinds []string) {
	for _, n := range list {
		kinds = append(kinds, n.Kind)
	}
	return kinds
}

func (s *scene) tell(p *ledger.Post) int {
	s.t.Helper()
	n, err := p.Tell(s.ctx())
	require.NoError(s.t, err)
	return n
}

func TestEveryKindOfFactIsToldOrNamedAsNotTold(t *testing.T) {
	t.Parallel()
	for _, kind := range ledger.KindsOfFacts() {
		told, not := ledger.IsTold(kind), slices.Contains(ledger.NotTold, kind)
		require.NotEqual(t, told, not, "%s: say in newskinds.go what it is told as, or name it in notTold", kind)
	}
	for _, kind := range ledger.NewsKinds() {
		require.NotEmpty(t, ledger.TopicOf(kind), kind)
	}
}

// TestNewsOfAnOrder plays one delivery through to payment and reads what each party was told.
func TestNewsOfAnOrder(t *testing.T) {
	s := newScene(t)
	p := s.post()
	s.tell(p)
	before := s.news(s.yard)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	s.inspect(passing())
	s.as(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.AddNote(s.ctx(), ledger.NewNote{Delivery: d.ID, Text: "for us alone", Private: true})
		return err
	})
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	s.tell(p)
	require.Zero(t, s.tell(p), "nothing is told twice")

	yard := s.news(s.yard)[len(before):]
	require.Equal(t, []string{"delivery.sealed", "inspection.passed", "milestone.accepted", "milestone.payable"}, kindsOf(yard))
	studio := kindsOf(s.news(s.studio))
	require.Contains(t, studio, "note.written", "a private note is the studio's")
	for i, n := range s.news(s.yard) {
		require.EqualValues(t, i+1, n.Seq, "places have no gaps")
	}
	var b ledger.NewsBody
	require.NoError(t, json.Unmarshal(yard[1].Body, &b))
	a := b.Data
	require.Equal(t, "inspection.passed", b.Type)
	require.Equal(t, []any{s.yardOrder.ID, "WO-YARD", s.yardProp.ID, "crate_large", s.yardProp.Milestones[0].ID, "sculpt", d.ID, 1, s.yardOrder.ID},
		[]any{*a.WorkOrderID, a.WorkOrder, *a.PropID, a.Prop, *a.MilestoneID, a.Milestone, *a.DeliveryID, a.Delivery, *a.LogID})
	require.NotNil(t, a.InspectionID)
	at, err := time.Parse(time.RFC3339, b.Timestamp)
	require.NoError(t, err)
	require.WithinDuration(t, time.Now(), at, time.Minute)
	// The place in the log is where the act's leaf is.
	var kind string
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT kind FROM ph.fact WHERE log_id = $1 AND idx = $2`, *a.LogID, *a.LogIndex).Scan(&kind))
	require.Equal(t, ledger.FactInspectionRecorded, kind)
}

// TestNewsTellNothingOfOthers reads all that anybody was told in a scene with every act there is: no price, no person,
// nothing of the other vendor, nothing of a secret order's names.
func TestNewsTellNothingOfOthers(t *testing.T) {
	s := fullScene(t)
	s.tell(s.post())
	for name, of := range map[string]struct{ who, other ledger.Who }{"yard": {s.yard, s.lamp}, "lamp": {s.lamp, s.yard}, "studio": {who: s.studio}} {
		all := s.news(of.who)
		require.Greater(t, len(all), 30, name)
		for _, n := range all {
			text := string(n.Body)
			for _, word := range []string{"100001", "33330", "1000,", "minor", "EUR", "Lead of", "Mara", "After", "AFTER-", "boat", "paint_set", "reason", "seam"} {
				require.NotContains(t, text, word, name)
			}
			if of.other.Party != uuid.Nil {
				require.NotContains(t, text, of.other.Party.String())
				for _, word := range map[string][]string{"yard": {"WO-LAMP", "lantern_quay", "Lamp Works"}, "lamp": {"WO-YARD", "crate_large", "Salvage Yard"}}[name] {
					require.NotContains(t, text, word)
				}
			}
		}
		require.True(t, slices.ContainsFunc(all, func(n ledger.News) bool {
			return strings.Contains(string(n.Body), `"work_order":"HERON"`) && strings.Contains(string(n.Body), `"prop":"#`)
		}), "the secret order is told by its codename")
	}
	// Everything that is told anywhere was told here, but for what this scene does not do.
	seen := map[string]bool{}
	for _, who := range []ledger.Who{s.studio, s.yard, s.lamp} {
		for _, n := range s.news(who) {
			seen[n.Kind] = true
		}
	}
	var missing []string
	for _, kind := range ledger.NewsKinds() {
		if !seen[kind] {
			missing = append(missing, kind)
		}
	}
	require.Subset(t, []string{"delivery.abandoned", "inspection.requested", "inspection.stuck", "milestone.due_soon", "milestone.returned", "question.answered", "permission.granted", "concession.granted"}, missing)
}

// TestManyTellersTellOnceAndInOrder writes a thousand facts over ten orders while four processes tell, one of which is
// broken off again and again.
func TestManyTellersTellOnceAndInOrder(t *testing.T) {
	s := newScene(t)
	const logs, each = 10, 100
	var orders []uuid.UUID
	for i := range logs {
		o, _ := s.order(s.yard, fmt.Sprintf("MANY-%d", i), "crate_many")
		orders = append(orders, o.ID)
	}
	key := s.postKey()
	s.tell(s.postWith(key))
	before := len(s.news(s.yard))
	ctx, stop := context.WithCancel(s.ctx())
	var telling, writing sync.WaitGroup
	for n := range 4 {
		p := s.postWith(key)
		telling.Go(func() {
			for ctx.Err() == nil {
				if n == 0 { // dies in the middle
					short, cancel := context.WithTimeout(ctx, 2*time.Millisecond)
					_, _ = p.Tell(short)
					cancel()
				} else if _, err := p.Tell(ctx); err != nil && ctx.Err() == nil {
					t.Error(err)
				}
				time.Sleep(5 * time.Millisecond)
			}
		})
	}
	for _, order := range orders {
		writing.Go(func() {
			for i := 0; i < each; i += 20 {
				if err := s.try(s.yard, func(tx *ledger.Tx) error { return tx.RecordAgain(s.ctx(), order, 20) }); err != nil {
					t.Error(err)
				}
			}
		})
	}
	writing.Wait()
	require.Eventually(t, func() bool { return len(s.news(s.yard)) == before+logs*each }, 30*time.Second, 20*time.Millisecond)
	stop()
	telling.Wait()

	next, seq := map[uuid.UUID]int64{}, int64(0)
	for i, n := range s.news(s.yard) {
		seq++
		require.Equal(t, seq, n.Seq, "no gap, none twice")
		if i < before {
			continue
		}
		var b ledger.NewsBody
		require.NoError(t, json.Unmarshal(n.Body, &b))
		log := *b.Data.LogID
		if last, ok := next[log]; ok {
			require.Equal(t, last+1, *b.Data.LogIndex, "each log is told in its order")
		}
		next[log] = *b.Data.LogIndex
	}
	require.Len(t, next, logs)
	require.Len(t, s.news(s.studio), int(s.sum(`SELECT count(*) FROM ph.news WHERE party_id = $1`, s.studio.Party)))
}

func (s *scene) sum(query string, args ...any) (n int64) {
	s.t.Helper()
	require.NoError(s.t, s.owner.QueryRow(s.ctx(), query, args...).Scan(&n))
	return n
}

func TestDatesThatComeNearAreToldOnce(t *testing.T) {
	s := newScene(t)
	p := s.post()
	s.tell(p)
	n, err := p.TellDue(s.ctx())
	require.NoError(t, err)
	require.Zero(t, n, "no date is set")
	set := func(days int, m ledger.Milestone) {
		_, err := s.owner.Exec(s.ctx(), `UPDATE ph.milestone SET due_sort = (now() AT TIME ZONE 'UTC')::date + $2::int WHERE id = $1`, m.ID, days)
		require.NoError(t, err)
	}
	set(3, s.yardProp.Milestones[0])
	set(4, s.yardProp.Milestones[1])
	set(-1, s.yardProp.Milestones[2])
	for want := range []int{1, 0} {
		n, err = p.TellDue(s.ctx())
		require.NoError(t, err)
		require.Equal(t, 1-want, n)
	}
	set(2, s.yardProp.Milestones[0]) // another date is news
	n, err = p.TellDue(s.ctx())
	require.NoError(t, err)
	require.Equal(t, 1, n)
	for _, who := range []ledger.Who{s.yard, s.studio} {
		all := s.news(who)
		require.Equal(t, "milestone.due_soon", all[len(all)-1].Kind)
		require.NotContains(t, string(all[len(all)-1].Body), "log_index", "no act is behind it")
	}
	require.NotContains(t, kindsOf(s.news(s.lamp)), "milestone.due_soon")
}

// TestPartiesAreNotified hears what streams hear: whom the news are for, and how far an inspection is.
func TestPartiesAreNotified(t *testing.T) {
	s := newScene(t)
	conn, err := pgx.Connect(s.ctx(), s.db.URL(ledger.RoleAPI))
	require.NoError(t, err)
	defer conn.Close(s.ctx())
	_, err = conn.Exec(s.ctx(), `LISTEN `+ledger.NewsChannel+`; LISTEN `+ledger.ProgressChannel)
	require.NoError(t, err)
	s.tell(s.post())
	n, err := conn.WaitForNotification(s.ctx())
	require.NoError(t, err)
	require.Equal(t, ledger.NewsChannel, n.Channel)
	require.ElementsMatch(t, []string{s.studio.Party.String(), s.yard.Party.String(), s.lamp.Party.String()}, strings.Split(n.Payload, ","))
	require.NoError(t, s.worker.Report(s.ctx(), ledger.Progress{Studio: s.studio.Party, Stage: "hashing", Done: 0.5}))
	n, err = conn.WaitForNotification(s.ctx())
	require.NoError(t, err)
	require.Equal(t, ledger.ProgressChannel, n.Channel)
	require.Contains(t, n.Payload, `"stage":"hashing","done":0.5`)
}

func TestPostKeyIsForItsOwnerAlone(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "post.key")
	first, err := ledger.PostKeyFile(path)
	require.NoError(t, err)
	again, err := ledger.PostKeyFile(path)
	require.NoError(t, err)
	require.Equal(t, first, again)
	require.NoError(t, os.Chmod(path, 0o644))
	_, err = ledger.PostKeyFile(path)
	require.ErrorContains(t, err, "0600")
	for _, bad := range []string{"", "short", first[:20], strings.Repeat("A", 43) + "="} {
		_, err = ledger.ParsePostKey(bad)
		require.Error(t, err, bad)
		require.NotContains(t, err.Error(), first[:8], "never what it is")
	}
}

// postTables are the post's own: no caller reads them.
var postTables = []string{"feed", "due_told", "mail", "mail_day", "password_reset"}

// toldRows leaves a row of a party in every table of the post.
func (s *scene) toldRows(who ledger.Who) {
	s.t.Helper()
	s.tell(s.post())
	_, err := s.owner.Exec(s.ctx(), `WITH h AS (
		INSERT INTO ph.hook (party_id, id, url, kinds, secret, made_by) VALUES ($1, gen_random_uuid(), 'https://hooks.example/in', '{}', 'x', $2) RETURNING id
	), d AS (
		INSERT INTO ph.hook_send (party_id, hook_id, id, seq, message_id, kind, subject_id) SELECT $1, h.id, gen_random_uuid(), 1, gen_random_uuid(), 'ping', h.id FROM h RETURNING hook_id, id
	), a AS (
		INSERT INTO ph.hook_attempt (party_id, hook_id, send_id, number, problem, excerpt, took_ms) SELECT $1, d.hook_id, d.id, 1, '', '', 1 FROM d
	), m AS (
		INSERT INTO ph.mail (id, party_id, member_id, address, kind, about, cause) VALUES (gen_random_uuid(), $1, $2, 'x@x.example', 'locked', '{}', 'test ' || $1)
	), y AS (
		INSERT INTO ph.mail_day (party_id, member_id, day, up_to) VALUES ($1, $2, '2026-01-01', 0)
	), c AS (
		INSERT INTO ph.mail_choice (party_id, member_id, topic, how) VALUES ($1, $2, 'due', 'never')
	) INSERT INTO ph.password_reset (party_id, member_id, id, secret_hash, expires_at) VALUES ($1, $2, gen_random_uuid(), sha256($1::text::bytea), now())`,
		who.Party, who.Member)
	require.NoError(s.t, err)
}
