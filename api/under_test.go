package api_test

import (
	"bytes"
	"strings"
	"testing"

	"ripetide/api"
)

func TestAddressesOfAPageAreMounted(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ name, page, want string }{
		{"a link", `<a href="/f/hill">Hill</a>`, `<a href="/berries/f/hill">Hill</a>`},
		{"the first page", `<a href="/">x</a>`, `<a href="/berries/">x</a>`},
		{"a form and its button", `<form method="post" action="/f/x"><button formaction="/f/y">`, `<form method="post" action="/berries/f/x"><button formaction="/berries/f/y">`},
		{"files", `<script src="/a.js" defer></script><img src='/a.svg' alt=""><video poster=/p.png>`, `<script src="/berries/a.js" defer=""></script><img src="/berries/a.svg" alt=""><video poster="/berries/p.png">`},
		{"a tag that ends itself", `<link href="/a"/>`, `<link href="/berries/a"/>`},
		{"a link of a picture", `<svg viewBox="0 0 1 1"><a xlink:href="/a">`, `<svg viewBox="0 0 1 1"><a xlink:href="/berries/a">`},
		{"letters of any case", `<A HREF="/a">`, `<a href="/berries/a">`},
		{"signs of the query", `<a href="/a?b=1&amp;c=%2f&#43;d">`, `<a href="/berries/a?b=1&amp;c=%2f+d">`},
		{"one address of a set", `<source srcset="/a?x=1,2">`, `<source srcset="/berries/a?x=1,2">`},
		{"a set", `<img srcset="/a 1x, /b?c=1,2 2x,https://x.example/d 3x, e 4x">`, `<img srcset="/berries/a 1x, /berries/b?c=1,2 2x,https://x.example/d 3x, e 4x">`},
		{"a set without widths", `<img srcset=" /a, /b">`, `<img srcset=" /berries/a, /berries/b">`},
		{"mounted already", `<a href="/berries/f">`, ``},
		{"mounted already, no more", `<a href="/berries">`, ``},
		{"mounted already, a query", `<a href="/berries?a=1">`, ``},
		{"one that begins alike", `<a href="/berriesandmore">`, `<a href="/berries/berriesandmore">`},
		{"another host", `<a  href='//x.example/a'>`, ``},
		{"another site", `<a href="https://x.example/a">`, ``},
		{"others", `<a href="#x"><a href="?a=/b"><a href="f/x"><a href=""><a href><a href="mailto:a@b.example"><a href="tel:+1"><img src="data:,/a">`, ``},
		{"other attributes", `<input value="/f/x" name=back><p title="/f" data-path="/v1/x">`, ``},
		{"text", "<!doctype html>\n<p>href=\"/a\" &amp; 'b' &lt;a href=\"/c\"&gt; é </p >\r\n", ``},
		{"scripts, styles and what is no page", `<script>x = '<a href="/a">';</script><style>a{background:url("/a")}</style><textarea><a href="/a"></textarea><title><a href="/a"></title><!-- <a href="/a"> -->`, ``},
		{"what ends early", `<p>a<a href="/a`, ``},
		{"nothing", ``, ``},
	} {
		want := tt.want
		if want == "" {
			want = tt.page
		}
		if got := string(api.MountPage([]byte(tt.page), "/berries")); got != want {
			t.Errorf("%s: %s, want %s", tt.name, got, want)
		}
	}
	long := []byte(strings.Repeat(`<p class="a">Text &amp; more</p>`+"\n", 10000))
	if !bytes.Equal(api.MountPage(long, "/berries"), long) {
		t.Error("a long page without addresses has changed")
	}
}
