package api

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/api/mail"
	"ripetide/forecast"
	"ripetide/weather"
)

// RecipientStore keeps who gets the morning mail. Secrets come as their SHA-256.
type RecipientStore interface {
	// AskRecipient returns one that is on the list already as it is.
	AskRecipient(ctx context.Context, r forecast.Recipient) (kept forecast.Recipient, created bool, err error)
	Recipients(ctx context.Context, farm string) ([]forecast.RecipientState, error) // Also those that were ended.
	EndRecipient(ctx context.Context, farm, id, by string, at time.Time) error
	// Mailed returns whom the secret in a mail of a kind was sent to.
	Mailed(ctx context.Context, secret [32]byte, kind forecast.MailKind) (forecast.Recipient, error)
	ConfirmRecipient(ctx context.Context, secret [32]byte, sentAfter, at time.Time) (forecast.Recipient, error)
	LeaveMail(ctx context.Context, secret [32]byte, at time.Time) (forecast.Recipient, error)
}

// Mailer sends mail.
type Mailer interface {
	SetUp() bool  // There is a server to send it.
	Linked() bool // Mails can hold links, without which only tests are sent.
	Wake()        // Has it look at once at what is due.
	Test(ctx context.Context, farm forecast.Farm, to string) (mail.Answer, error)
}

// RecipientIn is an address to send the morning mail to.
type RecipientIn struct {
	Address string `json:"address" maxLength:"254" doc:"Of a mailbox, such as ann@farm.example."`
}

// RecipientOut is somebody who gets, may get or got the morning mail.
type RecipientOut struct {
	ID          string     `json:"id"`
	Address     string     `json:"address"`
	State       string     `json:"state" enum:"asked,confirmed,ended" doc:"Nothing but the question goes to one who has not confirmed."`
	AskedAt     time.Time  `json:"asked_at"`
	AskedBy     string     `json:"asked_by" doc:"The key that gave the address."`
	ConfirmedAt *time.Time `json:"confirmed_at" doc:"By the reader; null: not yet."`
	EndedAt     *time.Time `json:"ended_at" doc:"Nothing is sent from then on; null: it was not ended."`
	EndedBy     string     `json:"ended_by" doc:"A key, or the reader."`
	Last        *MailOut   `json:"last" doc:"The last that was sent or tried; null: nothing yet."`
}

// MailOut is an attempt to send a mail.
type MailOut struct {
	Kind      string       `json:"kind" enum:"ask,morning"`
	Day       weather.Date `json:"day"`
	Try       int          `json:"try" doc:"From 1."`
	StartedAt time.Time    `json:"started_at"`
	Outcome   string       `json:"outcome" enum:"sending,sent,later,refused,uncertain" doc:"later: it failed for now. uncertain: it may have arrived, and is not sent again so that none comes twice."`
	Code      int          `json:"code" doc:"SMTP; 0: the server gave none."`
	Text      string       `json:"text" doc:"What the server said, or what failed."`
	NextAt    *time.Time   `json:"next_at" doc:"When it is tried again; null: never."`
}

// MailState is a farm's morning mail.
type MailState struct {
	SetUp      bool           `json:"set_up" doc:"Whether a mail server is named in the settings. Nothing else needs one."`
	Linked     bool           `json:"linked" doc:"Whether the settings name the address of the pages, without which nobody can be asked and nothing but tests is sent."`
	Recipients []RecipientOut `json:"recipients" doc:"The oldest first, also those that were ended."`
}

// MailAnswer is what a server said to a test.
type MailAnswer struct {
	Outcome string `json:"outcome" enum:"sent,later,refused,uncertain"`
	Code    int    `json:"code" doc:"SMTP; 0: the server gave none."`
	Text    string `json:"text" doc:"What the server said, or what failed."`
}

// sendingTime is how long an attempt may be without an answer before it counts
// as cut off.
const sendingTime = 2 * time.Minute

// NewMailOut tells of an attempt at an instant; nil tells of none.
func NewMailOut(t *forecast.MailTry, now time.Time) *MailOut {
	if t == nil {
		return nil
	}
	out := &MailOut{Kind: string(t.Kind), Day: t.Day, Try: t.Try, StartedAt: t.StartedAt, Outcome: "sending"}
	switch a := t.Answer; {
	case a != nil:
		out.Outcome, out.Code, out.Text, out.NextAt = string(a.Outcome), a.Code, a.Text, a.NextAt
	case now.Sub(t.StartedAt) > sendingTime:
		out.Outcome, out.Text = string(forecast.MailUncertain), "the service stopped while it was being sent"
	}
	return out
}

// NewRecipientOut tells of a recipient at an instant.
func NewRecipientOut(r forecast.RecipientState, now time.Time) RecipientOut {
	out := RecipientOut{
		ID: r.ID, Address: r.Address, State: "asked", AskedAt: r.AskedAt, AskedBy: r.AskedBy,
		ConfirmedAt: r.ConfirmedAt, EndedAt: r.EndedAt, EndedBy: r.EndedBy, Last: NewMailOut(r.Last, now),
	}
	switch {
	case r.EndedAt != nil:
		out.State = "ended"
	case r.ConfirmedAt != nil:
		out.State = "confirmed"
	}
	return out
}

// AskRecipient has the reader of an address asked whether they want a farm's
// morning mail. Errors: [mail.ErrNotSetUp]; a [*forecast.FieldError] for the
// address.
func AskRecipient(ctx context.Context, store Store, m Mailer, farm, address, by string, now time.Time) (r forecast.Recipient, created bool, err error) {
	if !m.SetUp() || !m.Linked() {
		return r, false, mail.ErrNotSetUp
	}
	address = strings.TrimSpace(address)
	if reason := forecast.ValidAddress(address); reason != "" {
		return r, false, &forecast.FieldError{Field: "address", Reason: reason}
	}
	r, created, err = store.AskRecipient(ctx, forecast.Recipient{ID: random(5), Farm: farm, Address: address, AskedAt: now, AskedBy: by})
	if created {
		m.Wake()
	}
	return r, created, err
}

type postRecipient struct {
	FarmPath
	Body RecipientIn
}

// RecipientPath is the part of a path that names a recipient.
type RecipientPath struct {
	FarmPath
	Recipient string `path:"recipient" maxLength:"64" doc:"Identifier of the recipient."`
}

func (s *Server) recipientRoutes() {
	const path = "/v1/farms/{farm}/mail"
	tags := []string{"Mail"}
	add(s, Owner, huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "get-mail", Tags: tags, Summary: "Read who gets the morning mail, and how the last went",
	}, func(ctx context.Context, in *FarmPath) (*got[MailState], error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		all, err := s.store.Recipients(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		out := MailState{SetUp: s.mailer.SetUp(), Linked: s.mailer.Linked(), Recipients: []RecipientOut{}}
		for _, r := range all {
			out.Recipients = append(out.Recipients, NewRecipientOut(r, s.now()))
		}
		return &got[MailState]{out}, nil
	})
	add(s, Owner, huma.Operation{
		Method: http.MethodPost, Path: path + "/recipients", OperationID: "ask-recipient", Tags: tags, DefaultStatus: http.StatusCreated,
		Summary: "Ask somebody whether they want the morning mail", Errors: []int{http.StatusConflict},
		Description: "They are sent a link by which they say yes; without it nothing else is sent. An address is asked once a day at most. 200 when it is on the list already.",
		Responses:   map[string]*huma.Response{"200": {Description: "On the list already", Content: map[string]*huma.MediaType{"application/json": {Schema: &huma.Schema{Ref: "#/components/schemas/RecipientOut"}}}}},
	}, func(ctx context.Context, in *postRecipient) (*put[RecipientOut], error) {
		r, created, err := AskRecipient(ctx, s.store, s.mailer, in.Farm, in.Body.Address, by(ctx), s.now())
		if err != nil {
			return nil, err
		}
		out := NewRecipientOut(forecast.RecipientState{Recipient: r}, s.now())
		return putDone(created, out), nil
	})
	add(s, Owner, huma.Operation{
		Method: http.MethodDelete, Path: path + "/recipients/{recipient}", OperationID: "end-recipient", Tags: tags,
		Summary: "Send somebody no more morning mail", Description: "Readers leave by themselves too, by a link in each mail.", DefaultStatus: http.StatusNoContent,
	}, func(ctx context.Context, in *RecipientPath) (*struct{}, error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		return nil, s.store.EndRecipient(ctx, in.Farm, in.Recipient, by(ctx), s.now())
	})
	add(s, Owner, huma.Operation{
		Method: http.MethodPost, Path: path + "/test", OperationID: "test-mail", Tags: tags, DefaultStatus: http.StatusOK,
		Summary: "Send a test now and read what the server said", Errors: []int{http.StatusConflict, http.StatusTooManyRequests},
		Description: "A few words go to the address at once; the answer comes within ten seconds.",
	}, func(ctx context.Context, in *postRecipient) (*got[MailAnswer], error) {
		f, err := s.store.Farm(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		a, err := s.mailer.Test(ctx, f, strings.TrimSpace(in.Body.Address))
		if err != nil {
			return nil, err
		}
		return &got[MailAnswer]{MailAnswer{string(a.Outcome), a.Code, a.Text}}, nil
	})
}
