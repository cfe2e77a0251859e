package feed

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"ripetide/weather"
)

// Options set up a [Client].
type Options struct {
	Now  func() time.Time // Needed.
	Rand func() float64   // Uniform in [0, 1), for jitter; default math/rand/v2's.
	// UserAgent is the program and its version, such as "ripetide/1.4"; default
	// "ripetide". The contact of a feed is put behind it.
	UserAgent string
	// History is how many days back the first fetch of a feed asks, 1 to
	// MaxHistory; default DefaultHistory. Longer records are loaded as files.
	History int
	// OutlookAge is how long before the farm's midnight an outlook may have been
	// issued and still be one of today; default DefaultOutlookAge.
	OutlookAge time.Duration
	// Allow are networks that may be reached although they are not public, and
	// on any port, such as 192.168.7.0/24; default none.
	Allow []netip.Prefix
	// Proxy finds the proxy for a request, such as http.ProxyFromEnvironment;
	// default none. What may be reached is then up to the proxy: names are
	// resolved there, and only addresses that are numbers are still guarded.
	Proxy    func(*http.Request) (*url.URL, error)
	Limits   Limits
	Resolver *net.Resolver  // Default net.DefaultResolver.
	RootCAs  *x509.CertPool // Whom to believe certificates; default the system's.
}

// Limits bound the time that a fetch takes. Zeros stand for the defaults.
type Limits struct {
	Connect time.Duration // To connect and, again, for the TLS handshake; 10 s.
	Header  time.Duration // From the request to the answer's header; 30 s.
	Whole   time.Duration // All requests of a fetch with their bodies; 2 min.
}

const (
	// DefaultHistory is days.
	DefaultHistory = 30
	// MaxHistory is days: Open-Meteo gives no more of them beside an outlook, by
	// its documentation.
	MaxHistory = 92
	// DefaultOutlookAge makes an outlook of the afternoon one of the next
	// morning too, but not one of the morning before.
	DefaultOutlookAge = 12 * time.Hour

	// revised is how many days back a source may still correct.
	revised = 10
)

// Client asks weather services. It may be used by several goroutines at once.
type Client struct {
	opt       Options
	guard     guard
	transport http.RoundTripper
	proxies   sync.Map // The host:port of proxies that were used.
}

// NewClient returns a client.
func NewClient(opt Options) *Client {
	if opt.Rand == nil {
		opt.Rand = rand.Float64
	}
	if opt.UserAgent == "" {
		opt.UserAgent = "ripetide"
	}
	if opt.History <= 0 {
		opt.History = DefaultHistory
	}
	opt.History = min(opt.History, MaxHistory)
	orDefault := func(d *time.Duration, value time.Duration) {
		if *d <= 0 {
			*d = value
		}
	}
	orDefault(&opt.OutlookAge, DefaultOutlookAge)
	orDefault(&opt.Limits.Connect, 10*time.Second)
	orDefault(&opt.Limits.Header, 30*time.Second)
	orDefault(&opt.Limits.Whole, 2*time.Minute)

	c := &Client{opt: opt, guard: guard{allow: opt.Allow}}
	guarded := &net.Dialer{Timeout: opt.Limits.Connect, Resolver: opt.Resolver, Control: c.guard.control}
	free := &net.Dialer{Timeout: opt.Limits.Connect, Resolver: opt.Resolver}
	transport := &http.Transport{
		DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
			if _, proxy := c.proxies.Load(address); proxy {
				return free.DialContext(ctx, network, address)
			}
			return guarded.DialContext(ctx, network, address)
		},
		TLSClientConfig:        &tls.Config{RootCAs: opt.RootCAs},
		TLSHandshakeTimeout:    opt.Limits.Connect,
		ResponseHeaderTimeout:  opt.Limits.Header,
		MaxResponseHeaderBytes: 64 << 10,
		DisableKeepAlives:      true, // A feed is asked once an hour at most.
		DisableCompression:     true, // Bodies are unpacked under a limit.
	}
	if opt.Proxy != nil {
		transport.Proxy = func(r *http.Request) (*url.URL, error) {
			u, err := opt.Proxy(r)
			if u != nil && err == nil {
				c.proxies.Store(hostPort(u), true)
			}
			return u, err
		}
	}
	c.transport = transport
	return c
}

// fetch is one fetch of a feed while it goes on.
type fetch struct {
	c     *Client
	spec  Spec
	zone  *time.Location
	now   time.Time
	today weather.Date // At the farm.
	first weather.Date // The first observed day to ask for.
	st    State        // As it will be.
	res   Result
	fresh time.Duration // For how long the service says that its answer is fresh.
	words []string      // Of the detail.
}

// answer is what a service answered, to be read.
type answer struct {
	body          string
	same          bool // It is what was answered last; there is no body.
	days, outlook bool // What it holds.
	opt           weather.ReadOptions
	asked         string // Tells requests apart.
	etag, changed string // Validators.
}

// service is what a kind of feed is. To add one, write it and the method that
// asks it in a file of its own, and put them into the table and into ask.
type service struct {
	home         string // The service's own address.
	accept       string
	byPoint      bool // It is asked for a point, not for a station.
	needsContact bool
	takesKey     bool
}

var services = map[Kind]service{NWS: nws, OpenMeteo: openMeteo, ACIS: acis, NCEI: ncei}

func (f *fetch) ask(ctx context.Context) (*answer, error) {
	switch f.spec.Kind {
	case NWS:
		return f.askNWS(ctx)
	case OpenMeteo:
		return f.askOpenMeteo(ctx)
	case ACIS:
		return f.askACIS(ctx)
	case NCEI:
		return f.askNCEI(ctx)
	}
	return nil, fail(Refused, nil, "the kind is not known")
}

// Fetch asks the service of a valid spec, for a farm in zone, and returns what
// came of it and the state to remember in place of st. It does not mind
// st.NextAt and st.NotBefore. When ctx ends, the outcome is Failed.
func (c *Client) Fetch(ctx context.Context, spec Spec, zone *time.Location, st State) (Result, State) {
	if zone == nil {
		zone = time.UTC
	}
	f := &fetch{c: c, spec: spec, zone: zone, now: c.opt.Now(), st: st}
	f.today = weather.DateIn(f.now.In(zone))
	ctx, cancel := context.WithTimeout(ctx, c.opt.Limits.Whole)
	defer cancel()
	err := f.run(ctx)
	f.finish(err)
	f.res.Took = c.opt.Now().Sub(f.now)
	return f.res, f.st
}

// run asks and reads. A panic below, which would be a fault of ours, is an
// error, so that other feeds go on.
func (f *fetch) run(ctx context.Context) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fail(Failed, fmt.Errorf("panic: %v\n%s", p, debug.Stack()), "reading the answer failed by a fault of this program")
		}
	}()
	if of := f.spec.fingerprint(f.zone); f.st.Of != of {
		f.st = State{Of: of}
	}
	f.st.LastAt = f.now
	if faults := f.spec.Validate(); len(faults) > 0 {
		return fail(Refused, nil, "the settings cannot be: %s %s", faults[0].Field, faults[0].Reason)
	}
	f.first = f.window()
	a, err := f.ask(ctx)
	if err != nil {
		return err
	}
	if a.same {
		return f.unchanged(a)
	}
	var errs []error
	if a.days {
		errs = append(errs, f.readDays(a))
	}
	if a.outlook {
		errs = append(errs, f.readOutlook(a))
	}
	if err := errors.Join(errs...); err != nil {
		return err // Without the validators of this answer, so that it comes again.
	}
	f.st.Asked, f.st.ETag, f.st.LastModified = a.asked, a.etag, a.changed
	return nil
}

// window returns the first observed day to ask for. It goes ten days back from
// the day after the newest one that was delivered, so that neither days that a
// source corrects nor days that it is late with are missed.
func (f *fetch) window() weather.Date {
	first := f.today - weather.Date(f.c.opt.History)
	if f.st.LastDay != 0 {
		first = min(f.today, f.st.LastDay+1) - revised
	}
	return max(first, f.today-MaxHistory)
}

// unchanged takes the answer that nothing has changed.
func (f *fetch) unchanged(a *answer) error {
	if a.outlook && f.tooOld(f.st.LastIssued) {
		f.st.forget()
		return f.stale(f.st.LastIssued)
	}
	return nil
}

// tooOld reports whether an outlook is none of today.
func (f *fetch) tooOld(issued time.Time) bool {
	y, m, d := f.now.In(f.zone).Date()
	midnight := time.Date(y, m, d, 0, 0, 0, 0, f.zone)
	return issued.Before(midnight.Add(-f.c.opt.OutlookAge))
}

func (f *fetch) stale(issued time.Time) error {
	return fail(Stale, nil, "the service still gives the outlook issued %s", issued.In(f.zone).Format("2006-01-02 15:04 MST"))
}

func (f *fetch) readDays(a *answer) error {
	opt := a.opt
	opt.Zone, opt.Latest = f.zone, f.today
	r, err := weather.Read(strings.NewReader(a.body), opt)
	if err != nil {
		return unreadable(err, a.body)
	}
	cut(r, f.first, f.today-1)
	if len(r.Days) == 0 { // The newest day that was delivered at least should be there.
		return fail(Failed, nil, "the service has no whole day from %s to %s%s", f.first, f.today-1, refusals(r.Refused))
	}
	if d := digestOf(r.Days, r.Remarks); d != f.st.DaysDigest {
		f.res.Days, f.st.DaysDigest = r, d
		f.st.LastDay = max(f.st.LastDay, r.Days[len(r.Days)-1].Date)
		f.say("%s from %s to %s%s.", count(len(r.Days), "observed day"), r.Days[0].Date, r.Days[len(r.Days)-1].Date, refusals(r.Refused))
	}
	return nil
}

// cut refuses the days of r that were not asked for.
func cut(r *weather.Reading, first, last weather.Date) {
	days, remarks := r.Days[:0], r.Remarks[:0]
	for i, d := range r.Days {
		if d.Date < first || d.Date > last {
			r.Refused = append(r.Refused, weather.Refusal{Date: d.Date.String(),
				Reason: fmt.Sprintf("date %s is outside %s to %s, for which the service was asked", d.Date, first, last)})
			continue
		}
		days = append(days, d)
		if r.Remarks != nil {
			remarks = append(remarks, r.Remarks[i])
		}
	}
	r.Days = days
	if r.Remarks != nil {
		r.Remarks = remarks
	}
}

func (f *fetch) readOutlook(a *answer) error {
	opt := a.opt
	opt.Zone, opt.Latest = f.zone, f.today
	r, err := weather.ReadOutlook(strings.NewReader(a.body), opt)
	if err != nil {
		return unreadable(err, a.body)
	}
	told := !r.IssuedAt.IsZero()
	if told && (f.tooOld(r.IssuedAt) || r.IssuedAt.Before(f.st.LastIssued)) {
		return f.stale(r.IssuedAt)
	}
	d := digestOf(r.Days, nil)
	if told && r.IssuedAt.Equal(f.st.LastIssued) || !told && d == f.st.OutlookDigest {
		return nil
	}
	o, faults := weather.NewOutlook(r.Draft(f.now), f.zone, f.now)
	if len(faults) > 0 {
		return fail(Failed, nil, "the service's outlook cannot be: %s %s", faults[0].Field, faults[0].Reason)
	}
	f.res.Outlook = &o
	f.st.LastIssued, f.st.OutlookDigest = o.IssuedAt, d
	first, last, _ := o.Days.Span()
	f.say("Outlook issued %s for %s from %s to %s.", o.IssuedAt.In(f.zone).Format("2006-01-02 15:04 MST"), count(o.Days.Len(), "day"), first, last)
	return nil
}

func digestOf(days []weather.Day, remarks []weather.Remark) string {
	return digest(fmt.Sprintf("%v", days), fmt.Sprintf("%v", remarks))
}

func (f *fetch) say(format string, args ...any) {
	f.words = append(f.words, fmt.Sprintf(format, args...))
}

func refusals(refused []weather.Refusal) string {
	if len(refused) == 0 {
		return ""
	}
	return fmt.Sprintf("; %s refused, the first because %s", count(len(refused), "row"), refused[0].Reason)
}

func count(n int, noun string) string {
	if n != 1 {
		noun += "s"
	}
	return fmt.Sprintf("%d %s", n, noun)
}

// finish settles the outcome, its words and when to ask again.
func (f *fetch) finish(err error) {
	r := &f.res
	if err == nil {
		r.Outcome = Unchanged
		if r.Days != nil || r.Outlook != nil {
			r.Outcome = New
		}
		if len(f.words) == 0 {
			f.say("Nothing new.")
		}
		f.st.succeed(f.c, f.spec, f.now, f.fresh)
	} else {
		r.Outcome, r.Err = Failed, err
		for _, x := range failures(err) {
			r.Outcome = x.outcome
			f.say("%s.", capital(x.detail))
		}
		if r.Outcome == Stale {
			f.st.wait(f.c, f.now, f.fresh)
		} else {
			f.st.fail(f.c, f.now, retryAfter(err))
		}
	}
	r.Detail = f.clean(strings.Join(f.words, " "))
	if r.Err != nil {
		r.Err = errors.New(f.clean(r.Err.Error()))
	}
}

// clean takes the key out of a text, which may quote what a service answered.
func (f *fetch) clean(s string) string {
	key := string(f.spec.Key)
	if key == "" {
		return s
	}
	return strings.NewReplacer(key, "(secret)", url.QueryEscape(key), "(secret)", url.PathEscape(key), "(secret)").Replace(s)
}
