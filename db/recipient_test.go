package db_test

import (
	"errors"
	"fmt"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/jackc/pgx/v5/pgconn"

	"ripetide/db"
	"ripetide/forecast"
)

// ask asks an address at minute n.
func ask(t testing.TB, s *db.Store, n int, id, address string) (forecast.Recipient, bool) {
	t.Helper()
	r, created, err := s.AskRecipient(t.Context(), forecast.Recipient{ID: id, Farm: "hill", Address: address, AskedAt: at(n), AskedBy: "key owner"})
	if err != nil {
		t.Fatal(err)
	}
	return r, created
}

// claim claims a mail at minute n with a secret of one byte.
func claim(t testing.TB, s *db.Store, n int, k forecast.MailKey, secret byte) (try int, got bool) {
	t.Helper()
	try, got, err := s.ClaimMail(t.Context(), k, [32]byte{secret}, at(n))
	if err != nil {
		t.Fatal(err)
	}
	return try, got
}

func mailKey(id string, kind forecast.MailKind, day string) forecast.MailKey {
	return forecast.MailKey{Farm: "hill", Recipient: id, Kind: kind, Day: date(day)}
}

// confirmed asks an address, and its reader confirms.
func confirmed(t testing.TB, s *db.Store, n int, id, address string, secret byte) {
	t.Helper()
	ask(t, s, n, id, address)
	if _, got := claim(t, s, n, mailKey(id, forecast.MailAsk, "2026-06-01"), secret); !got {
		t.Fatalf("%s cannot be asked", id)
	}
	if _, err := s.ConfirmRecipient(t.Context(), [32]byte{secret}, at(n-1), at(n)); err != nil {
		t.Fatal(err)
	}
}

func TestRecipientsAreAskedOnceAndEnded(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	const day = 24 * 60
	if _, _, err := s.AskRecipient(ctx, forecast.Recipient{ID: "a", Farm: "moor", Address: "ann@farm.example", AskedAt: at(0), AskedBy: "x"}); !errors.Is(err, forecast.ErrFarmNotFound) {
		t.Errorf("of a farm that is not there: %v", err)
	}
	ann := forecast.Recipient{ID: "a", Farm: "hill", Address: "ann@farm.example", AskedAt: at(0), AskedBy: "key owner"}
	if got, created := ask(t, s, 0, "a", "ann@farm.example"); !created || cmp.Diff(ann, got) != "" {
		t.Errorf("%v, created %t", got, created)
	}
	if got, created := ask(t, s, 9, "b", "ANN@farm.example"); created || got.ID != "a" {
		t.Errorf("asked twice: %v", got)
	}
	// A day later the question may come again, under another name.
	if got, created := ask(t, s, day, "b", "Ann@farm.example"); !created || got.ID != "b" {
		t.Errorf("a day later: %v, created %t", got, created)
	}
	// Taken off the list, the address rests for a day too.
	for _, want := range []error{nil, forecast.ErrRecipientNotFound} {
		if err := s.EndRecipient(ctx, "hill", "b", "key owner", at(day+1)); !errors.Is(err, want) {
			t.Errorf("ended: %v, want %v", err, want)
		}
	}
	_, _, err := s.AskRecipient(ctx, forecast.Recipient{ID: "c", Farm: "hill", Address: "ann@farm.example", AskedAt: at(day + 2), AskedBy: "x"})
	if f, ok := errors.AsType[*forecast.FieldError](err); !ok || f.Field != "address" {
		t.Errorf("asked again on the same day: %v", err)
	}
	ask(t, s, 2*day, "c", "ann@farm.example")
	list, err := s.Recipients(ctx, "hill")
	if err != nil || len(list) != 3 || list[0].EndedBy != "key owner" || list[1].EndedAt == nil || list[2].EndedAt != nil || list[2].Last != nil {
		t.Errorf("listed %+v, %v", list, err)
	}
	for i := range 49 {
		ask(t, s, 2*day, fmt.Sprint("n", i), fmt.Sprintf("n%d@farm.example", i))
	}
	_, _, err = s.AskRecipient(ctx, forecast.Recipient{ID: "z", Farm: "hill", Address: "z@farm.example", AskedAt: at(2 * day), AskedBy: "x"})
	if f, ok := errors.AsType[*forecast.FieldError](err); !ok || f.Field != "address" {
		t.Errorf("the fifty-first: %v", err)
	}
}

func TestNothingButTheQuestionIsDueUntilItIsAnswered(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	ctx := t.Context()
	due := func(kind forecast.MailKind, n int) string {
		t.Helper()
		list, err := s.MailDue(ctx, "hill", kind, date("2026-06-01"), at(n))
		if err != nil {
			t.Fatal(err)
		}
		var ids string
		for _, r := range list {
			ids += r.ID
		}
		return ids
	}
	ask(t, s, 0, "a", "ann@farm.example")
	if a, m := due(forecast.MailAsk, 1), due(forecast.MailMorning, 1); a != "a" || m != "" {
		t.Errorf("due %q and %q", a, m)
	}
	if _, got := claim(t, s, 1, mailKey("a", forecast.MailMorning, "2026-06-01"), 9); got {
		t.Error("a morning mail to somebody who has not confirmed")
	}
	if try, got := claim(t, s, 1, mailKey("a", forecast.MailAsk, "2026-06-01"), 1); !got || try != 1 {
		t.Errorf("the question: %d, %t", try, got)
	}
	if _, got := claim(t, s, 1, mailKey("a", forecast.MailAsk, "2026-06-02"), 2); got {
		t.Error("the question goes out on two days")
	}
	// Only its own secret confirms, and not an old one.
	for _, x := range []struct {
		secret byte
		after  int
	}{{3, 0}, {1, 1}} {
		if _, err := s.ConfirmRecipient(ctx, [32]byte{x.secret}, at(x.after), at(2)); !errors.Is(err, forecast.ErrRecipientNotFound) {
			t.Errorf("secret %d sent after %d: %v", x.secret, x.after, err)
		}
	}
	if _, err := s.LeaveMail(ctx, [32]byte{1}, at(2)); !errors.Is(err, forecast.ErrRecipientNotFound) {
		t.Errorf("the question's secret ends the mail: %v", err)
	}
	for _, n := range []int{3, 5} { // Again it changes nothing.
		r, err := s.ConfirmRecipient(ctx, [32]byte{1}, at(0), at(n))
		if err != nil || r.ConfirmedAt == nil || !r.ConfirmedAt.Equal(at(3)) {
			t.Errorf("confirmed: %+v, %v", r, err)
		}
	}
	if a, m := due(forecast.MailAsk, 5), due(forecast.MailMorning, 5); a != "" || m != "a" {
		t.Errorf("confirmed, due %q and %q", a, m)
	}
	if _, got := claim(t, s, 5, mailKey("a", forecast.MailMorning, "2026-06-01"), 4); !got {
		t.Fatal("no morning mail")
	}
	if _, err := s.ConfirmRecipient(ctx, [32]byte{4}, at(0), at(6)); !errors.Is(err, forecast.ErrRecipientNotFound) {
		t.Errorf("a morning mail's secret confirms: %v", err)
	}
	if r, err := s.Mailed(ctx, [32]byte{4}, forecast.MailMorning); err != nil || r.ID != "a" {
		t.Errorf("%v, %v", r, err)
	}
	if _, err := s.Mailed(ctx, [32]byte{4}, forecast.MailAsk); !errors.Is(err, forecast.ErrRecipientNotFound) {
		t.Errorf("of another kind: %v", err)
	}
	for _, n := range []int{7, 8} {
		r, err := s.LeaveMail(ctx, [32]byte{4}, at(n))
		if err != nil || r.EndedAt == nil || !r.EndedAt.Equal(at(7)) || r.EndedBy != forecast.ByReader {
			t.Errorf("left: %+v, %v", r, err)
		}
	}
	if _, err := s.ConfirmRecipient(ctx, [32]byte{1}, at(0), at(9)); !errors.Is(err, forecast.ErrRecipientNotFound) {
		t.Errorf("an old question brings back who has left: %v", err)
	}
	if m := due(forecast.MailMorning, 9999); m != "" {
		t.Errorf("left, due %q", m)
	}
}

// A mail is taken once: by one of many at a time, again only when its last try
// failed for now and its time has come, and never when a try was cut off.
func TestAMailIsTakenOnce(t *testing.T) {
	t.Parallel()
	s, _ := farmed(t)
	confirmed(t, s, 1, "a", "ann@farm.example", 200)
	k := mailKey("a", forecast.MailMorning, "2026-06-11")
	taken := func(n int, secret byte) (times, try int) {
		t.Helper()
		var wg sync.WaitGroup
		var mu sync.Mutex
		for i := range 12 {
			wg.Go(func() {
				x, got, err := s.ClaimMail(t.Context(), k, [32]byte{secret, byte(i)}, at(n))
				mu.Lock()
				defer mu.Unlock()
				if err != nil {
					t.Error(err)
				}
				if got {
					times++
					try = x
				}
			})
		}
		wg.Wait()
		return times, try
	}
	keep := func(try int, a forecast.MailAnswer) {
		t.Helper()
		if err := s.KeepMail(t.Context(), k, try, a); err != nil {
			t.Fatal(err)
		}
	}
	if n, try := taken(10, 1); n != 1 || try != 1 {
		t.Fatalf("taken %d times, try %d", n, try)
	}
	if n, _ := taken(9999, 2); n != 0 {
		t.Errorf("a try without an answer is made again")
	}
	keep(1, forecast.MailAnswer{At: at(11), Outcome: forecast.MailLater, Code: 451, Text: "later", NextAt: ptr(at(15))})
	if n, _ := taken(14, 3); n != 0 {
		t.Error("taken before its time")
	}
	if n, try := taken(15, 4); n != 1 || try != 2 {
		t.Errorf("taken %d times, try %d", n, try)
	}
	keep(2, forecast.MailAnswer{At: at(16), Outcome: forecast.MailLater, Code: 451, Text: "no more"}) // Given up.
	if n, _ := taken(9999, 5); n != 0 {
		t.Error("given up and taken")
	}
	for i, outcome := range []forecast.MailOutcome{forecast.MailSent, forecast.MailRefused, forecast.MailUncertain} {
		k.Day++
		if n, _ := taken(20, byte(10+i)); n != 1 {
			t.Errorf("the next day: taken %d times", n)
		}
		keep(1, forecast.MailAnswer{At: at(21), Outcome: outcome, Code: 250, Text: "said"})
		if n, _ := taken(9999, byte(20+i)); n != 0 {
			t.Errorf("%s and taken again", outcome)
		}
	}
	list, err := s.Recipients(t.Context(), "hill")
	want := &forecast.MailTry{MailKey: k, Try: 1, StartedAt: at(20), Answer: &forecast.MailAnswer{At: at(21), Outcome: forecast.MailUncertain, Code: 250, Text: "said"}}
	if err != nil || len(list) != 1 || cmp.Diff(want, list[0].Last) != "" {
		t.Errorf("the last: %+v, %v", list, err)
	}
}

func TestRecipientsAndMailThatCannotBe(t *testing.T) {
	t.Parallel()
	s, pool := farmed(t)
	confirmed(t, s, 1, "a", "ann@farm.example", 1)
	const try = `INSERT INTO mail_try (farm, recipient, kind, day, try, hash, started_at) VALUES ('hill', `
	const answer = `INSERT INTO mail_answer (farm, recipient, kind, day, try, answered_at, outcome, code, detail, next_at) VALUES ('hill', 'a', `
	const recipient = `INSERT INTO recipient (id, farm, address, asked_at, asked_by, ended_at, ended_by) VALUES ('b', `
	for constraint, sql := range map[string]string{
		"recipient_farm_fk":         recipient + `'moor', 'a@b.c', now(), 'x', NULL, NULL)`,
		"recipient_address_idx":     recipient + `'hill', 'Ann@Farm.Example', now(), 'x', NULL, NULL)`,
		"recipient_address_check":   recipient + `'hill', E'a@b.c\nBcc: d', now(), 'x', NULL, NULL)`,
		"recipient_ended_check":     recipient + `'hill', 'a@b.c', now(), 'x', now(), NULL)`,
		"mail_try_recipient_fk":     try + `'z', 'ask', '2026-06-01', 1, sha256('z'), now())`,
		"mail_try_kind_check":       try + `'a', 'advert', '2026-06-01', 1, sha256('z'), now())`,
		"mail_try_try_check":        try + `'a', 'ask', '2026-06-01', 0, sha256('z'), now())`,
		"mail_try_hash_check":       try + `'a', 'morning', '2026-06-01', 1, 'short', now())`,
		"mail_answer_try_fk":        answer + `'ask', '2026-06-01', 9, now(), 'sent', 250, '', NULL)`,
		"mail_answer_outcome_check": answer + `'ask', '2026-06-01', 1, now(), 'lost', 250, '', NULL)`,
		"mail_answer_next_check":    answer + `'ask', '2026-06-01', 1, now(), 'sent', 250, '', now())`,
	} {
		_, err := pool.Exec(t.Context(), sql)
		if e, ok := errors.AsType[*pgconn.PgError](err); !ok || e.ConstraintName != constraint {
			t.Errorf("%s: %v, want a refusal by %s", sql, err, constraint)
		}
	}
}
