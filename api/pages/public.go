package pages

import (
	"bytes"
	"fmt"
	"html/template"
	"net/http"
	"regexp"
	"strings"

	"github.com/labstack/echo/v4"

	"ripetide/api"
	"ripetide/api/announce"
)

// publicTemplate is a page of its own: it has no navigation, no script and
// another language than the pages of the farm's own people.
var publicTemplate = template.Must(template.New("public.html").Funcs(template.FuncMap{"whole": whole}).ParseFS(templateFiles, "template/public.html"))

// Where a date must not be broken: beside the day of its month.
var (
	afterDay  = regexp.MustCompile(`(\d(?:\.|er)?) (\p{L})`)
	beforeDay = regexp.MustCompile(`(\p{L}) (\d{1,2})`)
)

// whole keeps the dates of a sentence in one piece.
func whole(s string) string {
	return beforeDay.ReplaceAllString(afterDay.ReplaceAllString(s, "$1\u00a0$2"), "$1\u00a0$2")
}

// addPublic adds the page that everybody may see, if the farm lets them.
func (p *Pages) addPublic() {
	for _, method := range []string{http.MethodGet, http.MethodHead} {
		p.anybody(method, "/at/:farm", p.public)
	}
}

type publicPage struct {
	announce.Public
	ID      string
	Version string       // Of the static files.
	Tel     template.URL // "": what is written is no number to dial.
}

func (p *Pages) public(c echo.Context) error {
	id := c.Param("farm")
	seen, _, err := p.API.Public(c.Request().Context(), id)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if err := publicTemplate.ExecuteTemplate(&out, "public.html", publicPage{seen, id, p.files, dial(seen.Phone)}); err != nil {
		return fmt.Errorf("render public page: %w", err)
	}
	// Without the time of its last change: that is one of the program's too.
	api.File{Type: "text/html; charset=utf-8", Body: out.Bytes()}.Serve(c)
	return nil
}

// dial returns the address that dials a number.
func dial(phone string) template.URL {
	digits := strings.Map(func(r rune) rune {
		if strings.ContainsRune(" -./()\u00a0", r) {
			return -1
		}
		return r
	}, phone)
	number := strings.TrimPrefix(digits, "+")
	if len(number) < 3 || strings.Trim(number, "0123456789") != "" {
		return ""
	}
	return template.URL("tel:" + digits) //nolint:gosec // Digits, and perhaps a plus.
}
