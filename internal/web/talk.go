package web

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// questionsPage is the inbox of questions: those that wait for the reader's side, or all.
type questionsPage struct {
	Items  []ledger.Question
	Next   string
	Show   string // "mine", "theirs", "closed" or "all"
	Later  bool
	Studio bool
}

// questionTabs are the tabs of the inbox, in order.
var questionTabs = []string{"mine", "theirs", "closed", "all"}

// Tabs are the tabs of the inbox.
func (questionsPage) Tabs() []string { return questionTabs }

func (p *Pages) questions(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	page := questionsPage{Show: c.QueryParam("show"), Later: c.QueryParam("after") != "", Studio: who.Side == ledger.StudioSide}
	mine, theirs := ledger.QuestionAsked, ledger.QuestionAnswered
	if !page.Studio {
		mine, theirs = theirs, mine
	}
	var f ledger.QuestionFilter
	switch page.Show {
	case "theirs":
		f.State = theirs
	case "closed":
		f.State = ledger.QuestionClosed
	case "all":
	default:
		page.Show, f.State = "mine", mine
	}
	list, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.List[ledger.Question], error) {
		return tx.QuestionsWithWords(ctx, f, ledger.Page{After: c.QueryParam("after")})
	})
	if err != nil {
		return err
	}
	page.Items, page.Next = list.Items, list.Next
	return p.render(c, http.StatusOK, "questions", frame{Title: words.P("talk.title"), At: "questions"}, page)
}

// questionPage is one question with all that was said.
type questionPage struct {
	party
	Question ledger.Question
	Specs    []ledger.SpecHead // that an answer may have become
	Refusal  refusal
}

func (p *Pages) question(c echo.Context) error {
	page, err := p.loadQuestion(c)
	if err != nil {
		return err
	}
	return p.showQuestion(c, http.StatusOK, page)
}

func (p *Pages) showQuestion(c echo.Context, status int, page questionPage) error {
	return p.render(c, status, "question", frame{Title: page.Prop.Title, At: "questions"}, page)
}

func (p *Pages) loadQuestion(c echo.Context) (questionPage, error) {
	id, err := idOf(c)
	if err != nil {
		return questionPage{}, err
	}
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page questionPage, err error) {
		if page.Question, err = tx.Question(ctx, id); err != nil {
			return page, err
		}
		if page.Prop, err = tx.Prop(ctx, page.Question.PropID); err != nil {
			return page, err
		}
		page.Specs, err = tx.SpecRevisions(ctx, page.Prop.ID)
		return page, err
	})
	who, _ := httpapi.Caller(c.Request().Context())
	page.Studio = who.Side == ledger.StudioSide
	return page, err
}

// ask opens a question on a prop's page.
func (p *Pages) ask(c echo.Context) error {
	return onProp(c, p, "question", "question", "questions", func(ctx context.Context, tx *ledger.Tx, prop ledger.Prop) (ledger.Question, uuid.UUID, error) {
		q, err := tx.Ask(ctx, ledger.NewQuestion{Prop: prop.ID, Text: typed(c, "text"), Blocks: field(c, "blocks") == "yes"})
		return q, q.ID, err
	})
}

// reply takes a question a step on.
func (p *Pages) reply(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	_, _, err = act(c, p, "question", func(ctx context.Context, tx *ledger.Tx) (ledger.Question, uuid.UUID, error) {
		spec, _ := uuid.Parse(field(c, "spec")) // none chosen is none
		q, err := tx.Reply(ctx, id, field(c, "event"), typed(c, "text"), spec)
		return q, q.ID, err
	})
	if err != nil && refused(err) {
		page, lerr := p.loadQuestion(c)
		if lerr != nil {
			return lerr
		}
		page.Refusal = p.refuse(c, "reply", err)
		return p.showQuestion(c, page.Refusal.Status, page)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/questions/"+id.String())
}

// waited puts a duration into the two largest units that it has, for a clock that a person reads.
func waitedParts(d time.Duration) (days, hours, minutes int) {
	minutes = int(d / time.Minute)
	return minutes / (24 * 60), minutes / 60 % 24, minutes % 60
}

// opening is the first sentence of a question, for a list.
func opening(q ledger.Question) string {
	if len(q.Messages) == 0 {
		return ""
	}
	return shortened(q.Messages[0].Text, 160)
}

// shortened cuts a text at a blank, with three dots where something is left out.
func shortened(text string, most int) string {
	text = strings.Join(strings.Fields(text), " ")
	r := []rune(text)
	if len(r) <= most {
		return text
	}
	cut := string(r[:most])
	if i := strings.LastIndexByte(cut, ' '); i > most/2 {
		cut = cut[:i]
	}
	return cut + " …"
}

// Opening is the beginning of a question, for a list.
func (questionsPage) Opening(q ledger.Question) string { return opening(q) }

// Lasting is how long something lasted.
func (questionsPage) Lasting(d time.Duration) words.Phrase { return lasting(d) }
