package api

import (
	"context"
	"crypto/rand"
	"encoding/base32"
	"errors"
	"net/http"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/forecast"
)

// SubscriptionStore keeps secret addresses. Secrets come as their SHA-256.
type SubscriptionStore interface {
	NewSubscription(ctx context.Context, x forecast.Subscription, secret [32]byte) error
	Subscriptions(ctx context.Context, farm string) ([]forecast.Subscription, error)
	// Subscription returns the address with a secret that opens something.
	Subscription(ctx context.Context, secret [32]byte) (forecast.Subscription, error)
	TouchSubscription(ctx context.Context, farm, id string, at time.Time) error
	RevokeSubscription(ctx context.Context, farm, id, by string, at time.Time) error
}

// SubscriptionIn is a secret address as it is asked for.
type SubscriptionIn struct {
	Name string `json:"name" doc:"Whom it is for, in at most 100 characters, so that you know which one to revoke."`
}

// SubscriptionOut is a secret address, without its secret.
type SubscriptionOut struct {
	ID         string     `json:"id"`
	Name       string     `json:"name"`
	MadeAt     time.Time  `json:"made_at"`
	MadeBy     string     `json:"made_by" doc:"The key that made it."`
	LastUsedAt *time.Time `json:"last_used_at" doc:"To about a minute; null: never."`
	RevokedAt  *time.Time `json:"revoked_at" doc:"It opens nothing since then; null: it was not revoked."`
}

// SubscriptionMade is a secret address as it is shown once.
type SubscriptionMade struct {
	SubscriptionOut
	Calendar string `json:"calendar" doc:"Path of the calendar at this service. Whoever knows it reads the calendar without a key. It is shown this once."`
	Changes  string `json:"changes" doc:"Path of the feed of changes, likewise."`
}

// SubscriptionList is a farm's secret addresses, the oldest first.
type SubscriptionList struct {
	Subscriptions []SubscriptionOut `json:"subscriptions"`
}

// SubscriptionPath is the part of a path that names a secret address.
type SubscriptionPath struct {
	FarmPath
	ID string `path:"id" maxLength:"64" doc:"Identifier of the address, which is not its secret."`
}

type postSubscription struct {
	FarmPath
	Body SubscriptionIn
}

func subscriptionOut(x forecast.Subscription) SubscriptionOut {
	return SubscriptionOut{x.ID, x.Name, x.MadeAt, x.MadeBy, x.LastUsedAt, x.RevokedAt}
}

// random returns random bits as text.
func random(bytes int) string {
	b := make([]byte, bytes)
	rand.Read(b) // Never fails, by its documentation.
	return strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b))
}

// secretBytes are as many as no one guesses.
const secretBytes = 20

// MakeSubscription makes a secret address. Errors: a [*forecast.FieldError] of its
// name, [forecast.ErrFarmNotFound].
func MakeSubscription(ctx context.Context, store SubscriptionStore, farm, name, by string, at time.Time) (SubscriptionMade, error) {
	name = oneLine(name)
	if reason := forecast.ValidName(name); reason != "" {
		return SubscriptionMade{}, &forecast.FieldError{Field: "name", Reason: reason}
	}
	secret := random(secretBytes)
	x := forecast.Subscription{ID: random(5), Farm: farm, Name: name, MadeAt: at.UTC(), MadeBy: by}
	if err := store.NewSubscription(ctx, x, HashKey(secret)); err != nil {
		return SubscriptionMade{}, err
	}
	return SubscriptionMade{
		subscriptionOut(x), "/subscribe/" + secret + "/calendar.ics", "/subscribe/" + secret + "/changes.atom",
	}, nil
}

func (s *Server) subscriptionRoutes() {
	const path = "/v1/farms/{farm}/subscriptions"
	tags := []string{"Subscribing"}
	add(s, Owner, huma.Operation{
		Method: http.MethodPost, Path: path, OperationID: "make-subscription", Tags: tags, DefaultStatus: http.StatusCreated,
		Summary:     "Make a secret address to subscribe to",
		Description: "The calendar and the feed of changes are read there without a key, until it is revoked. The secret is shown once and kept only as its hash.",
	}, func(ctx context.Context, in *postSubscription) (*put[SubscriptionMade], error) {
		made, err := MakeSubscription(ctx, s.store, in.Farm, in.Body.Name, by(ctx), s.now())
		if f, ok := errors.AsType[*forecast.FieldError](err); ok {
			err = invalid([]error{f})
		}
		if err != nil {
			return nil, err
		}
		return &put[SubscriptionMade]{http.StatusCreated, made}, nil
	})
	add(s, Owner, huma.Operation{
		Method: http.MethodGet, Path: path, OperationID: "list-subscriptions", Tags: tags, Summary: "List secret addresses, without their secrets",
	}, func(ctx context.Context, in *FarmPath) (*got[SubscriptionList], error) {
		if _, err := s.store.Farm(ctx, in.Farm); err != nil {
			return nil, err
		}
		all, err := s.store.Subscriptions(ctx, in.Farm)
		if err != nil {
			return nil, err
		}
		list := SubscriptionList{Subscriptions: []SubscriptionOut{}}
		for _, x := range all {
			list.Subscriptions = append(list.Subscriptions, subscriptionOut(x))
		}
		return &got[SubscriptionList]{list}, nil
	})
	add(s, Owner, huma.Operation{
		Method: http.MethodDelete, Path: path + "/{id}", OperationID: "revoke-subscription", Tags: tags,
		Summary: "Revoke a secret address", Description: "It opens nothing from then on and stays in the list.", DefaultStatus: http.StatusNoContent,
	}, func(ctx context.Context, in *SubscriptionPath) (*struct{}, error) {
		return nil, s.store.RevokeSubscription(ctx, in.Farm, in.ID, by(ctx), s.now())
	})
}
