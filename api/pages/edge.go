package pages

import (
	"net/http"

	"github.com/labstack/echo/v4"
)

// edge answers a browser that asks for what is no page, or where a page has
// failed so badly that it could not say so itself.
func (p *Pages) edge(c echo.Context, status int) error {
	headers(c.Response().Header())
	title, text := http.StatusText(status), "This address does not take that."
	switch {
	case status == http.StatusNotFound:
		title, text = notFound, noSuchPage
	case status >= http.StatusInternalServerError:
		title, text = wentWrong, inTheLog
	}
	return p.render(c, status, nil, "message", title, message{Text: text})
}

// What is said where there is no page, and where something failed.
const (
	notFound   = "Not found"
	noSuchPage = "There is no such page."
	wentWrong  = "Something went wrong"
	inTheLog   = "It is written in the service's log. Nothing you entered before is lost."
)
