package mail

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"fmt"
	"log/slog"
	mathrand "math/rand/v2"
	"runtime/debug"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"ripetide/forecast"
	"ripetide/weather"
)

// Errors of a [Runner]; match with [errors.Is].
var (
	// ErrNotSetUp is mail without a server to send it.
	ErrNotSetUp = errors.New("mail: not set up")
	// ErrTooMany is a test while another runs, or after too many within an hour.
	ErrTooMany = errors.New("mail: too many tests")
)

// Store is the outbox.
type Store interface {
	Farms(ctx context.Context) ([]forecast.Farm, error)
	// MailDue returns the recipients to whom a kind of mail may be sent on a day.
	MailDue(ctx context.Context, farm string, kind forecast.MailKind, day weather.Date, at time.Time) ([]forecast.Recipient, error)
	// ClaimMail records that a mail is about to be sent, with the SHA-256 of the
	// secret in its link; not got when it is not due any more. Of many at once one
	// gets it.
	ClaimMail(ctx context.Context, k forecast.MailKey, hash [32]byte, at time.Time) (try int, got bool, err error)
	// KeepMail records what came of it.
	KeepMail(ctx context.Context, k forecast.MailKey, try int, a forecast.MailAnswer) error
}

// Writer writes letters in the words of the pages.
type Writer interface {
	// Morning returns this morning's letter of a farm; not ok when there is none
	// to send, or not yet: until it is late only this morning's forecast will do.
	Morning(ctx context.Context, farm forecast.Farm, at time.Time, late bool) (m Morning, ok bool, err error)
	// Ask asks somebody whether they want the morning mail, by a link.
	Ask(farm forecast.Farm, link string) (Letter, error)
	// Test says that mail arrives.
	Test(farm forecast.Farm) (Letter, error)
}

// Morning is a farm's morning, to be sent to many.
type Morning interface {
	// Letter returns it with a link by which its reader leaves.
	Letter(leave string) (Letter, error)
}

// Runner sends what is due. Any number of them may run on one store.
type Runner struct {
	Store  Store
	Writer Writer
	Client *Client // Nil: there is no server, and nothing is sent.
	Public string  // Address of the pages, for links; "": nothing but tests is sent.
	Now    func() time.Time
	Log    *slog.Logger

	once  sync.Once
	woken chan struct{}
	mu    sync.Mutex
	tests []time.Time // Of the last hour.
}

// The morning at the farm, in minutes after midnight.
const (
	early = 5*60 + 30 // From then on, once the morning's forecast is there.
	late  = 7 * 60    // From then on with the newest there is.
	over  = 12 * 60   // No morning mail from then on; yesterday's is never sent.
)

const (
	// askedFor is how long the question is tried.
	askedFor = 24 * time.Hour
	// AskTime is how long its link may be used.
	AskTime = 7 * 24 * time.Hour

	mostTries  = 8
	firstPause = time.Minute
	mostPause  = 30 * time.Minute
	atOnce     = 4
	every      = 30 * time.Second // Between two looks at what is due.
	keepTime   = 10 * time.Second
	stopTime   = 8 * time.Second // For what is under way when the runner is told to stop.

	testTime  = 10 * time.Second
	mostTests = 20 // Within an hour.
)

// Addresses of the pages by which readers answer; a secret follows.
const (
	ConfirmPath = "/mail/confirm/"
	LeavePath   = "/mail/leave/"
)

// SetUp reports whether there is a server to send mail.
func (r *Runner) SetUp() bool { return r.Client != nil }

// Linked reports whether mails can hold links, without which nobody is asked and
// no morning mail is sent.
func (r *Runner) Linked() bool { return r.Public != "" }

func (r *Runner) wake() chan struct{} {
	r.once.Do(func() { r.woken = make(chan struct{}, 1) })
	return r.woken
}

// Wake has it look at once at what is due.
func (r *Runner) Wake() {
	select {
	case r.wake() <- struct{}{}:
	default:
	}
}

// Run sends what is due until ctx ends. Nothing that goes wrong stops it.
func (r *Runner) Run(ctx context.Context) {
	for {
		r.Pass(ctx)
		timer := time.NewTimer(every)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-timer.C:
		case <-r.wake():
			timer.Stop()
		}
	}
}

// Pass sends all that is due now.
func (r *Runner) Pass(ctx context.Context) {
	if r.Client == nil || r.Public == "" {
		return
	}
	farms, err := r.Store.Farms(ctx)
	if err != nil {
		r.broken(ctx, "", err)
		return
	}
	var down atomic.Bool // The server cannot be reached: the others need not try now.
	for _, f := range farms {
		if ctx.Err() != nil || down.Load() {
			return
		}
		r.farm(ctx, f, &down)
	}
}

func (r *Runner) broken(ctx context.Context, farm string, err error) {
	if ctx.Err() == nil {
		r.Log.ErrorContext(ctx, "mail cannot be prepared", slog.String("farm", farm), slog.Any("error", err))
	}
}

// farm sends what is due of a farm. It does not panic.
func (r *Runner) farm(ctx context.Context, f forecast.Farm, down *atomic.Bool) {
	defer func() {
		if p := recover(); p != nil {
			r.Log.ErrorContext(ctx, "mail panicked", slog.String("farm", f.ID), slog.Any("panic", p), slog.String("stack", string(debug.Stack())))
		}
	}()
	jobs, err := r.due(ctx, f)
	if err != nil {
		r.broken(ctx, f.ID, err)
	}
	places := make(chan struct{}, atOnce)
	var wg sync.WaitGroup
	for _, j := range jobs {
		places <- struct{}{}
		if ctx.Err() != nil || down.Load() {
			break
		}
		wg.Go(func() {
			defer func() { <-places }()
			a, err := r.send(ctx, f, j)
			if err != nil {
				r.broken(ctx, f.ID, err)
			}
			if a.Outcome == forecast.MailLater && a.Code == 0 {
				down.Store(true)
			}
		})
	}
	wg.Wait()
}

// job is a mail that is due.
type job struct {
	key    forecast.MailKey
	to     string
	until  time.Time                         // When it is not sent any more.
	link   string                            // Address in it, to which its secret is added.
	leave  bool                              // The link is for leaving.
	letter func(link string) (Letter, error) // Writes it.
}

// due returns what is due of a farm, with an error also if only a part could be
// found out.
func (r *Runner) due(ctx context.Context, f forecast.Farm) (jobs []job, err error) {
	zone, err := f.Location()
	if err != nil {
		return nil, err
	}
	now := r.Now()
	today := weather.DateIn(now.In(zone))
	asked, err := r.Store.MailDue(ctx, f.ID, forecast.MailAsk, today, now)
	if err != nil {
		return nil, err
	}
	for _, a := range asked {
		until := a.AskedAt.Add(askedFor)
		if !now.Before(until) {
			continue
		}
		key := forecast.MailKey{Farm: f.ID, Recipient: a.ID, Kind: forecast.MailAsk, Day: weather.DateIn(a.AskedAt.In(zone))}
		jobs = append(jobs, job{key, a.Address, until, r.Public + ConfirmPath, false, func(link string) (Letter, error) { return r.Writer.Ask(f, link) }})
	}
	at := func(minutes int) time.Time {
		y, m, d := today.Civil()
		return time.Date(y, m, d, 0, minutes, 0, 0, zone)
	}
	if now.Before(at(early)) || !now.Before(at(over)) {
		return jobs, nil
	}
	readers, err := r.Store.MailDue(ctx, f.ID, forecast.MailMorning, today, now)
	if err != nil || len(readers) == 0 {
		return jobs, err
	}
	m, ok, err := r.Writer.Morning(ctx, f, now, !now.Before(at(late)))
	if err != nil || !ok {
		return jobs, err
	}
	for _, a := range readers {
		key := forecast.MailKey{Farm: f.ID, Recipient: a.ID, Kind: forecast.MailMorning, Day: today}
		jobs = append(jobs, job{key, a.Address, at(over), r.Public + LeavePath, true, m.Letter})
	}
	return jobs, nil
}

// send sends a mail, if nobody else does.
func (r *Runner) send(ctx context.Context, f forecast.Farm, j job) (Answer, error) {
	secret := newSecret()
	link := j.link + secret
	l, err := j.letter(link)
	if err != nil {
		return Answer{}, err
	}
	now := r.Now()
	try, got, err := r.Store.ClaimMail(ctx, j.key, sha256.Sum256([]byte(secret)), now)
	if err != nil || !got {
		return Answer{}, err
	}
	m := message{Letter: l, fromName: f.Name, to: j.to, id: r.id(j.key), at: now}
	if j.leave {
		m.leave = link
	}
	// What is begun is finished, or it would count as a mail that may have arrived.
	sending, cancel := context.WithTimeout(context.WithoutCancel(ctx), sendTime)
	defer cancel()
	defer context.AfterFunc(ctx, func() { time.AfterFunc(stopTime, cancel) })()
	a := r.Client.send(sending, m)
	kept := forecast.MailAnswer{At: r.Now(), Outcome: a.Outcome, Code: a.Code, Text: a.Text}
	if a.Outcome == forecast.MailLater && try < mostTries {
		if next := kept.At.Add(pause(try, mathrand.Float64())); next.Before(j.until) {
			kept.NextAt = &next
		}
	}
	r.tell(ctx, j.key, try, a)
	keep, cancelKeep := context.WithTimeout(context.WithoutCancel(ctx), keepTime)
	defer cancelKeep()
	return a, r.Store.KeepMail(keep, j.key, try, kept)
}

// pause returns how long to wait after a try, by chance x in [0, 1): twice as
// long each time, and not all at the same moment.
func pause(try int, x float64) time.Duration {
	d := min(firstPause<<(try-1), mostPause)
	return time.Duration((0.75 + 0.5*x) * float64(d))
}

// id names a mail: at each try the same, so that a server that was handed it
// twice can tell.
func (r *Runner) id(k forecast.MailKey) string {
	_, domain, _ := strings.Cut(r.Client.settings.From, "@")
	return fmt.Sprintf("%s.%s.%s.%s@%s", k.Kind, k.Day, k.Recipient, k.Farm, domain)
}

// tell logs what came of a mail: neither addresses nor secrets, and not what the
// server said, which may repeat them.
func (r *Runner) tell(ctx context.Context, k forecast.MailKey, try int, a Answer) {
	level := slog.LevelInfo
	if a.Outcome != forecast.MailSent {
		level = slog.LevelWarn
	}
	r.Log.LogAttrs(ctx, level, "mail tried",
		slog.String("farm", k.Farm), slog.String("recipient", k.Recipient), slog.String("kind", string(k.Kind)), slog.String("day", k.Day.String()),
		slog.Int("try", try), slog.String("outcome", string(a.Outcome)), slog.Int("code", a.Code))
}

// Test sends a few words to an address now and returns what the server said.
// Errors: [ErrNotSetUp]; [ErrTooMany]; a [*forecast.FieldError] for the address.
func (r *Runner) Test(ctx context.Context, f forecast.Farm, to string) (Answer, error) {
	if r.Client == nil {
		return Answer{}, ErrNotSetUp
	}
	if reason := forecast.ValidAddress(to); reason != "" {
		return Answer{}, &forecast.FieldError{Field: "address", Reason: reason}
	}
	if !r.mayTest() {
		return Answer{}, ErrTooMany
	}
	l, err := r.Writer.Test(f)
	if err != nil {
		return Answer{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, testTime)
	defer cancel()
	_, domain, _ := strings.Cut(r.Client.settings.From, "@")
	return r.Client.send(ctx, message{Letter: l, fromName: f.Name, to: to, id: "test." + newSecret() + "@" + domain, at: r.Now()}), nil
}

// mayTest counts a test, unless there were too many.
func (r *Runner) mayTest() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	now := r.Now()
	for len(r.tests) > 0 && (r.tests[0].Before(now.Add(-time.Hour)) || r.tests[0].After(now)) { // Or by a clock that was ahead.
		r.tests = r.tests[1:]
	}
	if len(r.tests) >= mostTests {
		return false
	}
	r.tests = append(r.tests, now)
	return true
}

// newSecret returns 160 random bits as text.
func newSecret() string {
	b := make([]byte, 20)
	rand.Read(b) // Never fails, by its documentation.
	return strings.ToLower(base32.StdEncoding.EncodeToString(b))
}
