package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// QuestionState says whose turn it is.
type QuestionState string

// The states of a question.
const (
	QuestionAsked    QuestionState = "asked"    // waits for the studio: its clock runs
	QuestionAnswered QuestionState = "answered" // lies with the vendor
	QuestionClosed   QuestionState = "closed"
)

// NewQuestion is something that a vendor has to know about a prop. One that blocks takes the time it waits off the
// vendor's lateness.
type NewQuestion struct {
	Prop   uuid.UUID
	Text   string
	Blocks bool
}

// Question is a thread about one prop.
type Question struct {
	ID          uuid.UUID
	WorkOrderID uuid.UUID
	PropID      uuid.UUID
	PropCode    string
	Number      int
	Blocks      bool
	State       QuestionState
	Since       time.Time
	AskedAt     time.Time
	Waited      time.Duration // on the studio's desk so far
	Messages    []QuestionMessage
}

// QuestionMessage is one turn of a question.
type QuestionMessage struct {
	ID     uuid.UUID
	Side   Side
	Event  string // ask, answer, ask_again, close
	ByName string
	Text   string
	Spec   *uuid.UUID // the revision that the answer became
	At     time.Time
}

// Ask opens a question about a prop.
func (tx *Tx) Ask(ctx context.Context, in NewQuestion) (Question, error) {
	if err := tx.allow("asking", VendorSide); err != nil {
		return Question{}, err
	}
	if in.Text == "" || len([]rune(in.Text)) > noteMax {
		return Question{}, invalid("text", "needs 1 to %d characters", noteMax)
	}
	var studio, order uuid.UUID
	// The prop's lock orders questions of a prop, and is what the blocking of a prop is counted under.
	if err := tx.QueryRow(ctx, `SELECT studio_id, work_order_id FROM ph.prop WHERE vendor_id = $1 AND id = $2 FOR UPDATE`, tx.Who.Party, in.Prop).Scan(&studio, &order); err != nil {
		return Question{}, fmt.Errorf("prop %s: %w", in.Prop, mapError(err))
	}
	to, _ := step(machineQuestion, "", "ask", ByVendor)
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.question (studio_id, vendor_id, work_order_id, prop_id, id, number, blocks, state, last_event, asked_by, by_name)
		VALUES ($1, $2, $3, $4, $5, (SELECT coalesce(max(number), 0) + 1 FROM ph.question WHERE studio_id = $1 AND prop_id = $4), $6, $7, 'ask', $8, $9)`,
		studio, tx.Who.Party, order, in.Prop, id, in.Blocks, to, tx.Who.Member, tx.Who.Name); err != nil {
		return Question{}, fmt.Errorf("ask about prop %s: %w", in.Prop, err)
	}
	if err := tx.say(ctx, studio, tx.Who.Party, order, id, "ask", in.Text, uuid.Nil); err != nil {
		return Question{}, err
	}
	return tx.Question(ctx, id)
}

func (tx *Tx) say(ctx context.Context, studio, vendor, order, question uuid.UUID, event, text string, spec uuid.UUID) error {
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.question_message (studio_id, vendor_id, work_order_id, question_id, id, side, event, text, salt, spec_revision_id, by_member, by_name)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)`,
		studio, vendor, order, question, id, tx.Who.Side, event, text, randomBytes(saltBytes), idOrNull(spec), tx.Who.Member, tx.Who.Name); err != nil {
		return fmt.Errorf("question %s: %w", question, err)
	}
	tx.fact(FactQuestion, studio, order, id)
	return nil
}

// Reply takes a question a step on: event is "answer" (the studio), "ask_again" or "close" (the vendor). An answer may name
// the spec revision that it became.
func (tx *Tx) Reply(ctx context.Context, question uuid.UUID, event, text string, spec uuid.UUID) (Question, error) {
	if (text == "" && event != "close") || len([]rune(text)) > noteMax {
		return Question{}, invalid("text", "needs 1 to %d characters", noteMax)
	}
	var studio, vendor, order, prop uuid.UUID
	var from string
	if err := tx.QueryRow(ctx, tx.sql(`SELECT q.studio_id, q.vendor_id, q.work_order_id, q.prop_id, q.state FROM ph.question q
		JOIN ph.prop p ON p.studio_id = q.studio_id AND p.id = q.prop_id WHERE q.{me} = $1 AND q.id = $2 FOR UPDATE OF p, q`), tx.Who.Party, question).
		Scan(&studio, &vendor, &order, &prop, &from); err != nil {
		return Question{}, fmt.Errorf("question %s: %w", question, mapError(err))
	}
	to, ok := step(machineQuestion, from, event, tx.actor())
	if !ok {
		return Question{}, fmt.Errorf("%w: a question that is %s takes no %s from the %s", ErrState, from, event, tx.actor())
	}
	if spec != uuid.Nil {
		var same bool
		if err := tx.QueryRow(ctx, `SELECT prop_id = $3 FROM ph.spec_revision WHERE studio_id = $1 AND id = $2`, studio, spec, prop).Scan(&same); err != nil || !same {
			return Question{}, invalid("spec_id", "is no revision of this prop's spec")
		}
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.question SET state = $3, last_event = $4 WHERE studio_id = $1 AND id = $2`, studio, question, to, event); err != nil {
		return Question{}, fmt.Errorf("question %s: %w", question, err)
	}
	if err := tx.say(ctx, studio, vendor, order, question, event, text, spec); err != nil {
		return Question{}, err
	}
	return tx.Question(ctx, question)
}

// QuestionFilter narrows a list of questions. Zero values mean all.
type QuestionFilter struct {
	WorkOrder uuid.UUID
	Prop      uuid.UUID
	State     QuestionState
}

const questionSelect = `SELECT q.id, q.work_order_id, q.prop_id, p.code, q.number, q.blocks, q.state, q.since, q.asked_at,
	q.waited_secs + CASE WHEN q.state = 'asked' THEN greatest(0, extract(epoch FROM now() - q.since))::bigint ELSE 0 END
	FROM ph.question q JOIN ph.prop p ON p.studio_id = q.studio_id AND p.id = q.prop_id WHERE q.{me} = $1`

func scanQuestion(row pgx.CollectableRow) (q Question, err error) {
	var waited int64
	err = row.Scan(&q.ID, &q.WorkOrderID, &q.PropID, &q.PropCode, &q.Number, &q.Blocks, &q.State, &q.Since, &q.AskedAt, &waited)
	q.Waited = time.Duration(waited) * time.Second
	return q, err
}

// Question is one question with all that was said.
func (tx *Tx) Question(ctx context.Context, id uuid.UUID) (Question, error) {
	rows, err := tx.Query(ctx, tx.sql(questionSelect+` AND q.id = $2`), tx.Who.Party, id)
	if err != nil {
		return Question{}, fmt.Errorf("question %s: %w", id, err)
	}
	q, err := pgx.CollectExactlyOneRow(rows, scanQuestion)
	if err != nil {
		return Question{}, fmt.Errorf("question %s: %w", id, mapError(err))
	}
	if rows, err = tx.Query(ctx, tx.sql(`SELECT id, side, event, coalesce(by_name, ''), text, spec_revision_id, at FROM ph.question_message
		WHERE {me} = $1 AND question_id = $2 ORDER BY id`), tx.Who.Party, id); err != nil {
		return Question{}, fmt.Errorf("question %s: %w", id, err)
	}
	if q.Messages, err = pgx.CollectRows(rows, pgx.RowToStructByPos[QuestionMessage]); err != nil {
		return Question{}, fmt.Errorf("question %s: %w", id, err)
	}
	return q, nil
}

// Questions lists questions without what was said, newest first.
func (tx *Tx) Questions(ctx context.Context, f QuestionFilter, p Page) (List[Question], error) {
	after, err := p.afterID(lastID)
	if err != nil {
		return List[Question]{}, err
	}
	query, args := questionSelect+` AND q.id < $2`, []any{tx.Who.Party, after}
	for _, c := range []struct {
		on     bool
		column string
		value  any
	}{{f.WorkOrder != uuid.Nil, "work_order_id", f.WorkOrder}, {f.Prop != uuid.Nil, "prop_id", f.Prop}, {f.State != "", "state", f.State}} {
		if c.on {
			args = append(args, c.value)
			query += fmt.Sprintf(" AND q.%s = $%d", c.column, len(args))
		}
	}
	rows, err := tx.Query(ctx, tx.sql(query+fmt.Sprintf(" ORDER BY q.id DESC LIMIT %d", p.limit()+1)), args...)
	if err != nil {
		return List[Question]{}, fmt.Errorf("list questions: %w", err)
	}
	items, err := pgx.CollectRows(rows, scanQuestion)
	if err != nil {
		return List[Question]{}, fmt.Errorf("list questions: %w", err)
	}
	return listOf(items, p.limit(), func(q Question) string { return cursor(q.ID.String()) }), nil
}

// QuestionsWithWords lists questions with all that was said, newest first.
func (tx *Tx) QuestionsWithWords(ctx context.Context, f QuestionFilter, p Page) (List[Question], error) {
	list, err := tx.Questions(ctx, f, p)
	if err != nil || len(list.Items) == 0 {
		return list, err
	}
	if err := tx.WithMessages(ctx, list.Items); err != nil {
		return List[Question]{}, fmt.Errorf("list questions: %w", err)
	}
	return list, nil
}
