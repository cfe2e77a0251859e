package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"ripetide/db/dbtest"
	"ripetide/testdata"
)

// browserTime bounds a browser test.
const browserTime = 4 * time.Minute

// browser is a Chromium with one tab. It reaches the service through a gate.
type browser struct {
	t    *testing.T
	ctx  context.Context
	base string // Of the gate.
	gate *gate

	mu   sync.Mutex
	said []string
}

// unwatched skips a test under the race detector, which changes what it is about, or
// with which it takes too long.
func unwatched(t testing.TB) {
	t.Helper()
	if watched {
		t.Skip("for tests without the race detector: go test ./cmd/ripetide")
	}
}

// needBrowser skips a test under the race detector, before it has begun.
func needBrowser(t *testing.T) {
	t.Helper()
	unwatched(t)
}

// newBrowser starts a Chromium on the pages of a service. A machine without
// one fails the test: it is not skipped.
func newBrowser(t *testing.T, s *service) *browser {
	t.Helper()
	return newBrowserFor(t, s, browserTime)
}

// newBrowserFor is newBrowser for a test that takes longer than others.
func newBrowserFor(t *testing.T, s *service, limit time.Duration) *browser {
	t.Helper()
	needBrowser(t)
	name, err := exec.LookPath("chromium")
	if err != nil {
		t.Fatal("the browser tests need Chromium: apt-get install -y --no-install-recommends chromium")
	}
	g := newGate(t, s.base)
	opts := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(name), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	ctx, cancel := context.WithTimeout(t.Context(), limit)
	ctx, stop := chromedp.NewExecAllocator(ctx, opts...)
	ctx, closeTab := chromedp.NewContext(ctx)
	b := &browser{t: t, ctx: ctx, base: g.base, gate: g}
	messages := chromedp.Console(ctx)
	var listening sync.WaitGroup
	listening.Go(func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			if m.Type == "debug" || m.Type == "info" { // Advice of the browser's makers.
				continue
			}
			b.mu.Lock()
			b.said = append(b.said, m.String())
			b.mu.Unlock()
		}
	})
	t.Cleanup(func() {
		closeTab()
		stop()
		cancel()
		listening.Wait()
	})
	return b
}

// console returns what the pages have said in the console since the last call:
// their messages, uncaught exceptions, and what the browser refused to load.
func (b *browser) console() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	said := b.said
	b.said = nil
	return said
}

// do runs steps and ends the test when one fails.
func (b *browser) do(steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	if err := chromedp.Do(b.ctx, steps...); err != nil {
		b.fatal(err)
	}
}

// fatal ends the test with what the browser shows.
func (b *browser) fatal(err error) {
	b.t.Helper()
	where, _ := chromedp.Run(b.ctx, chromedp.Location())
	text, _ := chromedp.Run(b.ctx, chromedp.Evaluate[string]("document.body.innerText"))
	b.t.Fatalf("browser: %v\nat %s:\n%.2000s\nconsole: %q", err, where, text, b.console())
}

// value runs an action of a browser and returns what it comes to.
func value[T any](b *browser, a chromedp.Action[T]) T {
	b.t.Helper()
	x, err := chromedp.Run(b.ctx, a)
	if err != nil {
		b.fatal(err)
	}
	return x
}

// eval returns what a script, or its promise, comes to.
func eval[T any](b *browser, script string) T {
	b.t.Helper()
	return value(b, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
}

// open goes to a path of the service.
func (b *browser) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.base+path), chromedp.WaitReady(chromedp.CSS("main")))
}

// signIn signs in by a link, as somebody of the installation.
func (b *browser) signIn(s *service, name, role string) {
	b.t.Helper()
	b.signInTo(s, name, role, "")
}

// signInTo signs in by a link, as somebody of one farm, or of all with "".
func (b *browser) signInTo(s *service, name, role, farm string) {
	b.t.Helper()
	args := []string{"link", "--name", name, "--role", role}
	if farm != "" {
		args = append(args, "--farm", farm)
	}
	u, err := url.Parse(strings.TrimSpace(s.command(args...)))
	if err != nil {
		b.t.Fatal(err)
	}
	b.open(u.Path)
	b.click("main button")
	b.wait(`!location.pathname.startsWith("/sign-in")`)
}

// front brings the tab to the front.
func (b *browser) front() {
	b.t.Helper()
	if _, err := chromedp.Call(b.ctx, page.BringToFront, cdp.Empty{}); err != nil {
		b.fatal(err)
	}
}

// click clicks the first element of a CSS selector.
func (b *browser) click(selector string) {
	b.t.Helper()
	b.do(chromedp.Click(chromedp.CSS(selector)))
}

// fill types into a field in place of what it holds.
func (b *browser) fill(selector, text string) {
	b.t.Helper()
	b.do(chromedp.Clear(chromedp.CSS(selector)), chromedp.SendKeys(chromedp.CSS(selector), text))
}

// text returns the text of the first element of a selector, as it is shown.
func (b *browser) text(selector string) string {
	b.t.Helper()
	return value(b, chromedp.Text(chromedp.CSS(selector)))
}

// wait waits until a script comes to true, over as many pages as it takes.
func (b *browser) wait(script string) {
	b.t.Helper()
	for end := time.Now().Add(30 * time.Second); ; {
		// A page that goes while it is asked may never answer.
		ctx, cancel := context.WithTimeout(b.ctx, 5*time.Second)
		ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](script))
		cancel()
		switch { // An error is mostly a page that goes while it is asked.
		case ok:
			return
		case b.ctx.Err() != nil:
			b.fatal(b.ctx.Err())
		case time.Now().After(end):
			b.fatal(fmt.Errorf("%s did not come true (%w)", script, cmp.Or(err, errors.New("it is false"))))
		}
		select {
		case <-b.ctx.Done():
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// size sets the size of the window and the theme.
func (b *browser) size(width, height int64, dark bool) {
	b.t.Helper()
	theme := "light"
	if dark {
		theme = "dark"
	}
	_, err := chromedp.Call(b.ctx, emulation.SetDeviceMetricsOverride,
		emulation.SetDeviceMetricsOverrideParams{Width: width, Height: height, DeviceScaleFactor: 1, Mobile: width < 600})
	if err == nil {
		_, err = chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}},
		})
	}
	if err != nil {
		b.fatal(err)
	}
}

// offline takes the signal away, or gives it back: the gate lets nothing
// through, for workers neither, and the browser says so to its pages.
func (b *browser) offline(off bool) {
	b.t.Helper()
	b.gate.shut(off)
	if _, err := chromedp.Call(b.ctx, network.OverrideNetworkState, network.OverrideNetworkStateParams{
		Offline: off, DownloadThroughput: -1, UploadThroughput: -1,
	}); err != nil {
		b.fatal(err)
	}
}

// shot writes the whole page as a PNG.
func (b *browser) shot(file string) {
	b.t.Helper()
	beyond := true
	r, err := chromedp.Call(b.ctx, page.CaptureScreenshot, page.CaptureScreenshotParams{CaptureBeyondViewport: &beyond})
	if err != nil {
		b.fatal(err)
	}
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		b.t.Fatal(err)
	}
	if err := os.WriteFile(file, r.Data, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// gate stands between a browser and a service and can be shut.
type gate struct {
	base, to string

	mu     sync.Mutex
	closed bool
	conns  []net.Conn
}

func newGate(t *testing.T, to string) *gate {
	t.Helper()
	var lc net.ListenConfig
	l, err := lc.Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	g := &gate{base: "http://" + l.Addr().String(), to: strings.TrimPrefix(to, "http://")}
	t.Cleanup(func() {
		_ = l.Close()
		g.shut(true)
	})
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go g.pass(t.Context(), c)
		}
	}()
	return g
}

// pass copies both ways until one side ends.
func (g *gate) pass(ctx context.Context, c net.Conn) {
	defer c.Close()
	var d net.Dialer
	up, err := d.DialContext(ctx, "tcp", g.to)
	if err != nil {
		return
	}
	defer up.Close()
	g.mu.Lock()
	if g.closed {
		g.mu.Unlock()
		return
	}
	g.conns = append(g.conns, c, up)
	g.mu.Unlock()
	go func() {
		_, _ = io.Copy(up, c)
		_ = up.Close()
	}()
	_, _ = io.Copy(c, up)
}

// shut closes the gate and what goes through it, or opens it again.
func (g *gate) shut(closed bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.closed = closed
	if closed {
		for _, c := range g.conns {
			_ = c.Close()
		}
		g.conns = nil
	}
}

// demoMorning is the morning on which newDemoService stands.
func demoMorning(t testing.TB) (testdata.Demo, time.Time) {
	t.Helper()
	d, err := testdata.ReadDemo()
	if err != nil {
		t.Fatal(err)
	}
	zone, err := d.Farm.Location()
	if err != nil {
		t.Fatal(err)
	}
	y, m, day := d.AsOf.Civil()
	return d, time.Date(y, m, day, 5, 40, 0, 0, zone)
}

// newDemoService starts the program on the demo's farm, lanternfen, on the
// demo's morning, with the forecasts of that morning and of those before.
func newDemoService(t *testing.T) *service {
	t.Helper()
	_, at := demoMorning(t)
	return newDemoServiceAt(t, func() time.Time { return at })
}

// newDemoServiceAt is newDemoService by a clock of its own, which stands on that
// morning at first.
func newDemoServiceAt(t *testing.T, now func() time.Time) *service {
	t.Helper()
	return newDemoServiceWith(t, now, nil)
}

// newDemoServiceWith is newDemoServiceAt with more settings.
func newDemoServiceWith(t *testing.T, now func() time.Time, env map[string]string) *service {
	t.Helper()
	all := map[string]string{"DATABASE_URL": dbtest.Migrated(t, playDemo)}
	maps.Copy(all, env)
	return newServiceWith(t, now, all)
}

// playDemo puts the demo's farm with its forecasts into a database.
func playDemo(ctx context.Context, dsn string) error {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Minute) // Under the race detector it takes long.
	defer cancel()
	d, err := testdata.ReadDemo()
	if err != nil {
		return err
	}
	o, err := open(ctx, &config{DatabaseURL: dsn}, mainDatabase, nil)
	if err != nil {
		return err
	}
	_, err = (&staged{o: o, demo: d}).play(ctx)
	return errors.Join(err, o.close(ctx))
}

// TestSigningInAndOut goes through the door in a real browser.
func TestSigningInAndOut(t *testing.T) {
	t.Parallel()
	needBrowser(t)
	s := newDemoService(t)
	b := newBrowser(t, s)
	b.open("/f/lanternfen")
	b.wait(`location.pathname === "/sign-in"`)
	b.fill("#key", "wrong")
	b.click("main button")
	b.wait(`document.querySelector("[role=alert]") !== null`)
	b.signIn(s, "Noor", "owner")
	b.wait(`location.pathname === "/f/lanternfen"`)
	if got := b.text("header"); !strings.Contains(got, "Lanternfen Farm") || !strings.Contains(got, "Noor") {
		t.Errorf("the header says %q", got)
	}
	b.click("form[action='/sign-out'] button")
	b.wait(`location.pathname === "/sign-in"`)
	// Nor on the way back, from what the browser keeps of pages that were left.
	b.wait(`document.readyState === "complete"`)
	eval[bool](b, `history.back(); true`)
	b.wait(`location.pathname === "/sign-in" && new URLSearchParams(location.search).has("back")`)
	b.open("/f/lanternfen")
	b.wait(`location.pathname === "/sign-in"`)
	if said := slices.DeleteFunc(b.console(), func(m string) bool { return strings.Contains(m, "422") }); len(said) > 0 { // The wrong key.
		t.Errorf("the pages said %q", said)
	}
}
