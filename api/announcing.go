package api

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/api/announce"
	"ripetide/forecast"
)

// AnnouncingStore keeps how farms tell people about their seasons.
type AnnouncingStore interface {
	PutAnnouncing(ctx context.Context, farm string, a forecast.Announcing, by string, at time.Time) (created bool, err error)
	// Announcing returns the zero value for a farm that has set nothing.
	Announcing(ctx context.Context, farm string) (forecast.Announcing, error)
}

// AnnouncingBody is how a farm tells people about its season.
type AnnouncingBody struct {
	Language *string           `json:"language,omitempty" enum:"en-GB,en-US,de,fr" doc:"Of dates and of the texts that come with the program. Default: English by the farm's units."`
	Texts    map[string]string `json:"texts,omitempty" doc:"The farm's own texts by name: sign, telephone, post, paper. They may hold placeholders such as {opening}."`
	Hours    *string           `json:"hours,omitempty" doc:"When it is open, in words; at most 200 characters."`
	Where    *string           `json:"where,omitempty" doc:"How to find it; at most 200 characters."`
	Phone    *string           `json:"phone,omitempty" doc:"At most 200 characters."`
	Website  *string           `json:"website,omitempty" doc:"Begins with https:// or http://."`
	Public   *PublicBody       `json:"public,omitempty" doc:"What everybody may see without a key. Default: nothing."`
	Windows  *bool             `json:"windows,omitempty" doc:"Whether the calendar shows when varieties are expected. Default: false."`
}

// PublicBody is what everybody may see without a key.
type PublicBody struct {
	On        *bool `json:"on,omitempty" doc:"Nothing is public otherwise."`
	Varieties *bool `json:"varieties,omitempty" doc:"What is ripe, by name."`
	Ahead     *bool `json:"ahead,omitempty" doc:"What is expected after it."`
}

// AnnouncingOut is how a farm tells people, with the texts that it has not made
// its own.
type AnnouncingOut struct {
	AnnouncingBody
	Defaults     map[string]string `json:"defaults" doc:"The texts that come with the program, in the farm's language."`
	Placeholders map[string]string `json:"placeholders" doc:"What may stand in a text in braces, and what it becomes."`
}

type putAnnouncing struct {
	FarmPath
	Body AnnouncingBody
}

func (in *putAnnouncing) announcing() forecast.Announcing {
	b := in.Body
	a := forecast.Announcing{
		Language: or(b.Language, ""), Hours: oneLine(or(b.Hours, "")), Where: oneLine(or(b.Where, "")),
		Phone: oneLine(or(b.Phone, "")), Website: oneLine(or(b.Website, "")), Windows: or(b.Windows, false),
	}
	for name, text := range b.Texts {
		if text = strings.TrimSpace(strings.ReplaceAll(text, "\r\n", "\n")); text == "" {
			continue
		}
		if a.Texts == nil {
			a.Texts = map[forecast.Text]string{}
		}
		a.Texts[forecast.Text(name)] = text
	}
	if p := b.Public; p != nil {
		a.Public = forecast.PublicPage{On: or(p.On, false), Varieties: or(p.Varieties, false), Ahead: or(p.Ahead, false)}
	}
	return a
}

// Resolve adds the faults that the schema cannot tell.
func (in *putAnnouncing) Resolve(huma.Context) []error { return ValidateAnnouncing(in.announcing()) }

// ValidateAnnouncing returns every fault of a, each a [*forecast.FieldError].
func ValidateAnnouncing(a forecast.Announcing) []error {
	errs := a.Validate()
	for _, t := range forecast.Texts {
		if reason := announce.Check(a.Texts[t]); reason != "" {
			errs = append(errs, &forecast.FieldError{Field: "texts." + string(t), Reason: reason})
		}
	}
	return errs
}

func announcingOut(f forecast.Farm, a forecast.Announcing) AnnouncingOut {
	out := AnnouncingOut{
		AnnouncingBody: AnnouncingBody{
			Language: some(a.Language), Hours: some(a.Hours), Where: some(a.Where), Phone: some(a.Phone),
			Website: some(a.Website), Windows: &a.Windows,
			Public: &PublicBody{On: &a.Public.On, Varieties: &a.Public.Varieties, Ahead: &a.Public.Ahead},
		},
		Defaults: map[string]string{}, Placeholders: map[string]string{},
	}
	l := announce.LanguageOf(a.LanguageOf(f.Units))
	for _, t := range forecast.Texts {
		out.Defaults[string(t)] = l.Default(t)
		if a.Texts[t] != "" {
			if out.Texts == nil {
				out.Texts = map[string]string{}
			}
			out.Texts[string(t)] = a.Texts[t]
		}
	}
	for _, p := range announce.Placeholders {
		out.Placeholders[p.Name] = p.About
	}
	return out
}

func (s *Server) announcingRoutes() {
	const path = "/v1/farms/{farm}/announcing"
	add(s, Owner, huma.Operation{
		Method: http.MethodPut, Path: path, OperationID: "put-announcing", Tags: []string{"Opening"},
		Summary: "Set how the farm tells people about its season",
		Description: "The language of dates, the farm's own texts, and what everybody may see. " +
			"A text may hold no probability, no degree-day and no guarantee.",
	}, func(ctx context.Context, in *putAnnouncing) (*put[AnnouncingOut], error) {
		a := in.announcing()
		created, err := s.store.PutAnnouncing(ctx, in.Farm, a, by(ctx), s.now())
		if err != nil {
			return nil, err
		}
		f, err := s.store.Farm(ctx, in.Farm)
		return putDone(created, announcingOut(f, a)), err
	})
	add(s, Reader, huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "get-announcing", Tags: []string{"Opening"},
		Summary: "Read how the farm tells people about its season",
	}, func(ctx context.Context, in *FarmPath) (*got[AnnouncingOut], error) {
		f, err := s.store.Farm(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		a, err := s.store.Announcing(ctx, in.Farm)
		return &got[AnnouncingOut]{announcingOut(f, a)}, err
	})
}
